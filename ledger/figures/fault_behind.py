"""What stands behind the counts of faults: the come-backs of a row, and what was not put right.

Only the rows asked for leave their tables, so that it is quick in a great book too.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from ledger.asking import require
from ledger.figures.fault_pareto import keys_of
from ledger.figures.fault_shapes import By, Source
from ledger.figures.faults import NOT_BY, BookFaults

_NEWEST = [("found_at", "descending"), ("found_seq", "descending")]
_LAST_REPAIRED = [("put_right_at", "descending"), ("seq", "descending")]


@dataclass(frozen=True, slots=True)
class ComeBack:
    """One fault that was put right, and came back."""

    bike: str
    position: str
    fault: str
    cause: str | None
    put_right_at: datetime
    put_right_job: str | None
    put_right_by: str
    """The kind of work in words: `adjusted`, `cleaned`, `part fitted`."""
    again_at: datetime
    again_job: str | None
    days: float
    km: float | None
    """Ridden from the one to the other; None where that is not known."""
    minutes: int | None
    """Nobody paid for; None where that is not the asker's to see."""
    minor: int | None
    """What it cost the shop; None where no wage of its minutes is told, or it is not shown."""
    source: Source


@dataclass(frozen=True, slots=True)
class NotPutRight:
    """One fault that was carried over the end of a job, or gone without work."""

    bike: str
    position: str
    fault: str
    cause: str | None
    verdict: str | None
    found_at: datetime
    ended_at: datetime | None
    """Put right or found gone; None while it is open."""
    count_jobs_carried: int


@dataclass(frozen=True, slots=True)
class Immature:
    """One repair that cannot be judged yet: its bike was not followed for the whole window."""

    bike: str
    position: str
    fault: str
    put_right_at: datetime
    days_followed: float
    window_days: int
    window_km: float


def first_found_at(faults: BookFaults) -> datetime | None:
    """Give when the first fault was found; None where none was."""
    first: datetime | None = pc.min(faults.episodes["found_at"]).as_py()
    return first


def come_backs_behind(
    faults: BookFaults, by: By, key: str | None, bikes: Collection[str]
) -> tuple[ComeBack, ...]:
    """Give what came back behind a row of a Pareto on some bikes, the last found first.

    Raises NotForRole for tiers where whoever asked for `faults` does not see money.
    """
    if by == "tier":
        require(faults.asker, "money", NOT_BY[True])
    table = faults.repeats
    table = table.filter(pc.and_(table["is_come_back"], _is_in(table["bike"], bikes)))
    keys = keys_of(table.combine_chunks(), by, "first_")
    kept = table.filter(pc.is_null(keys) if key is None else pc.equal(keys, key))
    made = [_come_back(row, faults) for row in kept.to_pylist()]
    return tuple(sorted(made, key=lambda one: (one.again_at, one.bike), reverse=True))


def newest_carried(faults: BookFaults, most: int) -> tuple[NotPutRight, ...]:
    """Give so many faults carried over the end of a job, the last found first."""
    return _newest(faults.carried, most)


def newest_gone(faults: BookFaults, most: int) -> tuple[NotPutRight, ...]:
    """Give so many faults gone with no work on record, the last found first."""
    return _newest(faults.closed_without_work, most)


def newest_immature(faults: BookFaults, most: int) -> tuple[Immature, ...]:
    """Give so many repairs that cannot be judged yet, the last made first."""
    waiting = faults.repairs.filter(pc.invert(faults.repairs["is_mature"]))
    rows = waiting.sort_by(_LAST_REPAIRED).slice(0, most).to_pylist()
    return tuple(Immature(**{name: row[name] for name in Immature.__slots__}) for row in rows)


def _newest(episodes: pa.Table, most: int) -> tuple[NotPutRight, ...]:
    rows = episodes.sort_by(_NEWEST).slice(0, most).to_pylist()
    return tuple(NotPutRight(**{name: row[name] for name in NotPutRight.__slots__}) for row in rows)


def _is_in(column: pa.ChunkedArray, wanted: Collection[str]) -> pa.ChunkedArray:
    return pc.is_in(column, pa.array(sorted(wanted), pa.string()))


def _come_back(row: Mapping[str, Any], faults: BookFaults) -> ComeBack:
    return ComeBack(
        bike=row["bike"],
        position=row["position"],
        fault=row["fault"],
        cause=row["cause"],
        put_right_at=row["first_put_right_at"],
        put_right_job=row["first_job"],
        put_right_by=faults.words.work(row["first_kind"], row["first_treatment"]),
        again_at=row["again_found_at"],
        again_job=row["again_job"],
        days=row["days"],
        km=row["km"],
        minutes=row["unpaid_minutes"],
        minor=row["unpaid_minor"],
        source=row["source"],
    )
