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
from ledger.figures.fault_shapes import NOT_SHOWN, ComeBackJob, Unpaid
from ledger.figures.fault_tables import FaultTables
from ledger.figures.fault_words import FaultWords, say_otherwise

Row = Mapping[str, Any]


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
    faults, others = _faults(linked.come_backs, names), _faults(_no_come_backs(tables), names)
    return tuple(
        _job(row, place[number], faults[row["job"]], others[row["job"]], linked, words)
        for number, row in enumerate(chosen.to_pylist())
    )


def _opened(tables: FaultTables) -> pa.Table:
    """Give the jobs that are linked with tier and opened_at, the newest first.

    Of a job that was opened more than once, its last opening counts.
    """
    jobs = tables.jobs.combine_chunks()
    opened = tables.openings_of(jobs["job"].combine_chunks())
    opened = opened.sort_by([("opened_at", "descending"), ("tier", "ascending")]).combine_chunks()
    row = pc.index_in(jobs["job"], value_set=opened["job"].combine_chunks()).combine_chunks()
    for name in ("tier", "opened_at"):
        jobs = jobs.append_column(name, opened[name].combine_chunks().take(row))
    return jobs.sort_by([("opened_at", "descending"), ("job", "descending")])


def _no_come_backs(tables: FaultTables) -> pa.Table:
    """Give the repeats that do not count as come-backs."""
    return tables.again.filter(pc.invert(tables.again["is_come_back"]))


def _faults(again: pa.Table, jobs: Sequence[str]) -> Mapping[str, Sequence[Row]]:
    """Give position, fault and days since the repair of what was found again in each of some
    jobs."""
    told = again.select(["again_job", "position", "fault", "days"])
    found: dict[str, list[Row]] = defaultdict(list)
    for row in told.filter(pc.is_in(told["again_job"], pa.array(jobs, pa.string()))).to_pylist():
        found[row["again_job"]].append(row)
    return found


def _nothing(linked: Linked) -> Unpaid:
    return Unpaid() if linked.work.by_job.is_shown else NOT_SHOWN


def _job(
    row: Row,
    place: int,
    faults: Sequence[Row],
    others: Sequence[Row],
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
        faults=tuple((one["position"], one["fault"]) for one in faults) if is_back else (),
        remark=words.remark(faults, others, is_come_back=is_back),
        unpaid=linked.work.by_job.at(place) if is_back else _nothing(linked),
        how_linked=words.linked(row["source"], row["answers"], is_come_back=is_back),
        say_otherwise=say_otherwise(row["bike"], row["job"], is_come_back=is_back),
    )
