"""What waits for somebody's decision, from what is kept: nothing here reads the whole book."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any, cast

import pyarrow as pa
import pyarrow.compute as pc

from ledger.asking import Asker, Sight, is_theirs
from ledger.book import Book
from ledger.clocks import OPEN_JOBS, running
from ledger.figures.home_keeps import rows_now, waiting_keep
from ledger.figures.home_shapes import SORTS, Sort, Waiting
from ledger.figures.job_tables import job_tables
from ledger.figures.kept_faults import JUDGED

JUDGE_WITHIN_DAYS = 28
"""A come-back that nobody judged waits for that so long after its job was opened."""
SEEN_BY: Mapping[Sort, Sight] = {"quote": "quotes", "advice": "quotes", "unsafe": "wear",
                                 "come-back": "wear"}  # fmt: skip
"""What one must see to be told; jobs past their time are everybody's, clocks one's own."""


def decisions(
    book: Book, now: datetime | None = None, *, asker: Asker
) -> dict[Sort, tuple[Waiting, ...]]:
    """Give what waits for a decision, by what it is, each the newest first; those that are late
    or have a forgotten clock the longest first. Every sort the asker may see is there.
    """
    at = now or datetime.now(UTC)
    found: dict[Sort, list[Waiting]] = {sort: [] for sort in SORTS if _sees(asker, sort)}
    for one in (
        *_waiting(book),
        *_late(book, at),
        *_clocks(book, now, asker),
        *_unjudged(book, at),
    ):
        if one.sort in found:
            found[one.sort].append(one)
    return {sort: tuple(sorted(rows, key=_order)) for sort, rows in found.items()}


def _sees(asker: Asker, sort: Sort) -> bool:
    if sort == "clock":
        return asker.sees("colleagues") or asker.mechanic is not None
    return sort not in SEEN_BY or asker.sees(SEEN_BY[sort])


def _order(one: Waiting) -> tuple[float, str, str, str]:
    sign = 1 if one.sort in ("late", "clock") else -1
    return sign * one.since.timestamp(), one.bike, one.job or "", f"{one.position} {one.what}"


def _waiting(book: Book) -> Iterator[Waiting]:
    for row in rows_now(book, waiting_keep(book)).to_pylist():
        yield _told(row)


def _told(row: Mapping[str, Any]) -> Waiting:
    return Waiting(
        sort=cast(Sort, row["sort"]),
        bike=row["bike"],
        job=row["job"],
        position=row["position"],
        what=row["what"],
        answer=row["answer"],
        since=row["since"].astimezone(UTC),
    )


def _late(book: Book, now: datetime) -> Iterator[Waiting]:
    jobs = rows_now(book, OPEN_JOBS)
    late = jobs.filter(pc.less(jobs["promised_at"], pa.scalar(now, jobs["promised_at"].type)))
    for row in late.select(["bike", "job", "tier", "promised_at"]).to_pylist():
        promised_at = row["promised_at"].astimezone(UTC)
        yield Waiting("late", row["bike"], row["job"], None, row["tier"], None, promised_at)


def _clocks(book: Book, now: datetime | None, asker: Asker) -> Iterator[Waiting]:
    for one in running(book, now, asker=asker):
        if one.is_forgotten and is_theirs(asker, one.mechanic):
            yield Waiting("clock", one.bike, one.job, None, one.task, None, one.since, one.mechanic)


def _unjudged(book: Book, now: datetime) -> Iterator[Waiting]:
    """Give jobs that answer an earlier one by what was said or matched, and nobody judged."""
    jobs = job_tables(book).jobs
    since = pa.scalar(now - timedelta(days=JUDGE_WITHIN_DAYS), pa.timestamp("us", tz="UTC"))
    is_new = pc.and_(jobs["is_come_back"], pc.greater_equal(jobs["opened_at"], since))
    names = ["bike", "job", "tier", "opened_at"]
    new = jobs.select(names).filter(is_new)
    judged = set(_pairs(rows_now(book, JUDGED))) if len(new) else set()
    for row in new.to_pylist():
        if (row["bike"], row["job"]) not in judged:
            opened_at = row["opened_at"].astimezone(UTC)
            yield Waiting("come-back", row["bike"], row["job"], None, row["tier"], None, opened_at)


def _pairs(table: pa.Table) -> Iterator[tuple[str, str]]:
    return zip(table["bike"].to_pylist(), table["job"].to_pylist(), strict=True)
