"""Jobs that answer earlier ones: which, how they are linked, and what they took unpaid."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import NONE, Integers, codes_in, flags
from ledger.figures.fault_costs import UnpaidWork, unpaid_work
from ledger.figures.fault_shapes import ComeBackJob, Unpaid
from ledger.figures.fault_tables import FaultTables
from ledger.figures.fault_words import FaultWords, say_otherwise


@dataclass(frozen=True, slots=True)
class Linked:
    """The jobs that came back, what came back in them, and what that took."""

    jobs: pa.Table
    """Rows of the matching's jobs that are come-backs."""
    row: Integers
    """The repeats that count as come-backs."""
    come_backs: pa.Table
    """The same, with what their marks tell."""
    job: Integers
    """For each come-back, the row of `jobs` it was found in; NONE for none."""
    work: UnpaidWork

    @property
    def faultless(self) -> Integers:
        """The jobs in which no fault was found again."""
        has_fault = np.zeros(len(self.jobs), dtype=np.bool_)
        has_fault[self.job[self.job != NONE]] = True
        return np.flatnonzero(~has_fault)


def linked_jobs(tables: FaultTables) -> Linked:
    """Give the jobs that came back with what they took unpaid."""
    jobs = tables.jobs.filter(tables.jobs["is_come_back"]).combine_chunks()
    row = np.flatnonzero(flags(tables.again["is_come_back"]))
    come_backs = tables.again.take(pa.array(row))
    names = jobs["job"].to_pylist()
    job = codes_in(come_backs["again_job"], names)
    return Linked(jobs, row, come_backs, job, unpaid_work(tables, names, come_backs, job))


def come_back_jobs(
    tables: FaultTables, linked: Linked, words: FaultWords, limit: int | None = None
) -> tuple[ComeBackJob, ...]:
    """Give the jobs that came back or were judged not to, the newest first; at most so many."""
    chosen = _opened(tables).slice(0, limit)
    names = chosen["job"].to_pylist()
    place = codes_in(chosen["job"], linked.jobs["job"].to_pylist()).tolist()
    faults = _faults(linked, names)
    return tuple(
        _job(row, place[number], faults.get(row["job"], ()), linked, words)
        for number, row in enumerate(chosen.to_pylist())
    )


def _opened(tables: FaultTables) -> pa.Table:
    """Give the jobs that are linked with tier and opened_at, the newest first."""
    jobs = tables.jobs.combine_chunks()
    opened = tables.openings_of(jobs["job"].combine_chunks()).combine_chunks()
    row = pc.index_in(jobs["job"], value_set=opened["job"].combine_chunks()).combine_chunks()
    for name in ("tier", "opened_at"):
        jobs = jobs.append_column(name, opened[name].combine_chunks().take(row))
    return jobs.sort_by([("opened_at", "descending"), ("job", "descending")])


def _faults(linked: Linked, jobs: Sequence[str]) -> Mapping[str, Sequence[tuple[str, str]]]:
    """Give (position, fault) of what came back in each of some jobs."""
    back = linked.come_backs.select(["again_job", "position", "fault"])
    found: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for row in back.filter(pc.is_in(back["again_job"], pa.array(jobs, pa.string()))).to_pylist():
        found[row["again_job"]].append((row["position"], row["fault"]))
    return found


def _job(
    row: Mapping[str, Any],
    place: int,
    faults: Sequence[tuple[str, str]],
    linked: Linked,
    words: FaultWords,
) -> ComeBackJob:
    is_back = place != NONE
    return ComeBackJob(
        job=row["job"],
        bike=row["bike"],
        opened_at=row["opened_at"],
        tier=row["tier"],
        answers=row["answers"],
        source=row["source"],
        is_come_back=is_back,
        faults=tuple(faults) if is_back else (),
        unpaid=linked.work.by_job.at(place) if is_back else Unpaid(),
        how_linked=words.linked(row["source"], row["answers"], is_come_back=is_back),
        say_otherwise=say_otherwise(row["bike"], row["job"], is_come_back=is_back),
    )
