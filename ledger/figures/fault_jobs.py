"""Jobs that answer earlier ones: which, how they are linked, and what they took unpaid."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import NONE, Integers, codes_in
from ledger.figures.fault_costs import UnpaidWork, unpaid_work
from ledger.figures.fault_shapes import ComeBackJob, Unpaid
from ledger.figures.fault_tables import FaultTables
from ledger.figures.fault_words import FaultWords, say_otherwise


@dataclass(frozen=True, slots=True)
class Linked:
    """The jobs that came back, what came back in them, and what that took."""

    jobs: pa.Table
    """Rows of the matching's jobs that are come-backs."""
    come_backs: pa.Table
    """Rows of the repeats that count as come-backs."""
    job: Integers
    """For each come-back, the row of `jobs` it was found in; NONE for none."""
    work: UnpaidWork

    @property
    def faultless(self) -> Integers:
        """The jobs in which no fault was found again."""
        return np.setdiff1d(np.arange(len(self.jobs)), self.job)


def linked_jobs(tables: FaultTables) -> Linked:
    """Give the jobs that came back with what they took unpaid."""
    jobs = tables.jobs.filter(tables.jobs["is_come_back"]).combine_chunks()
    come_backs = tables.repeats.filter(tables.repeats["is_come_back"]).combine_chunks()
    names = jobs["job"].to_pylist()
    job = codes_in(come_backs["again_job"], names)
    return Linked(jobs, come_backs, job, unpaid_work(tables, names, come_backs, job))


def come_back_jobs(
    tables: FaultTables, linked: Linked, words: FaultWords
) -> tuple[ComeBackJob, ...]:
    """Give every job that came back or was judged not to, the newest first."""
    facts = _facts(tables)
    place = {job: row for row, job in enumerate(linked.jobs["job"].to_pylist())}
    faults = _faults(linked)
    made = [
        _job(row, facts.get(row["job"], {}), place.get(row["job"], NONE), linked, faults, words)
        for row in tables.jobs.to_pylist()
    ]
    made.sort(key=lambda one: (one.opened_at is not None, one.opened_at, one.job), reverse=True)
    return tuple(made)


def _facts(tables: FaultTables) -> Mapping[str, Mapping[str, Any]]:
    """Give tier and opening of the jobs that are linked."""
    facts = tables.job_facts.select(["job", "tier", "opened_at"])
    asked = facts.filter(pc.is_in(facts["job"], tables.jobs["job"].combine_chunks()))
    return {row["job"]: row for row in asked.to_pylist()}


def _faults(linked: Linked) -> Mapping[int, list[tuple[str, str]]]:
    """Give (position, fault) of what came back in each job, by its row."""
    found: dict[int, list[tuple[str, str]]] = defaultdict(list)
    columns = (linked.come_backs[name].to_pylist() for name in ("position", "fault"))
    for row, position, fault in zip(linked.job.tolist(), *columns, strict=True):
        found[row].append((position, fault))
    return found


def _job(
    row: Mapping[str, Any],
    facts: Mapping[str, Any],
    place: int,
    linked: Linked,
    faults: Mapping[int, list[tuple[str, str]]],
    words: FaultWords,
) -> ComeBackJob:
    is_back = place != NONE
    return ComeBackJob(
        job=row["job"],
        bike=row["bike"],
        opened_at=facts.get("opened_at"),
        tier=facts.get("tier"),
        answers=row["answers"],
        source=row["source"],
        is_come_back=is_back,
        faults=tuple(faults.get(place, ())) if is_back else (),
        unpaid=linked.work.by_job.at(place) if is_back else Unpaid(),
        how_linked=words.linked(row["source"], row["answers"], is_come_back=is_back),
        say_otherwise=say_otherwise(row["bike"], row["job"], is_come_back=is_back),
    )
