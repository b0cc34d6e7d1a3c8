"""The month so far beside the same days of the month before, in the figures one may see."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.ratios import spreads
from ledger.asking import Asker, Role
from ledger.book import Book
from ledger.errors import WrongUse
from ledger.figures.columns import Columns, between
from ledger.figures.fault_arrays import Integers
from ledger.figures.home_keeps import BIKES, rows_now
from ledger.figures.home_own import OwnWork
from ledger.figures.home_shapes import Month, MonthFigure, MonthJob, MonthSpan, Name
from ledger.figures.job_stretches import local_days
from ledger.figures.job_tables import JobTables, job_tables
from ledger.figures.labour_shapes import FEWEST_RATIOS
from ledger.figures.margin_rows import earnings
from ledger.figures.margin_shapes import FEWEST_JOBS
from ledger.figures.terms_in_force import day_number

_Days = tuple[date, date]
_One = tuple[float | None, int]
"""A figure, and how many jobs it rests on."""
SEEN: Mapping[Role, tuple[Name, ...]] = {
    "owner": ("contribution", "ratio", "come_backs"),
    "mechanic": ("own_minutes", "own_jobs", "come_backs"),
    "desk": ("booked_in", "quoted", "come_backs"),
}
"""The three figures of each role: money and totals of the shop's minutes are the owner's."""
FEWEST: Mapping[Name, int] = {"contribution": FEWEST_JOBS, "ratio": FEWEST_RATIOS}


def span_to(day: date, *, is_now: bool = True) -> MonthSpan:
    """Give a month up to a day, and as many days of the month before, at most all it has."""
    since = day.replace(day=1)
    since_before = (since - timedelta(days=1)).replace(day=1)
    most = monthrange(since_before.year, since_before.month)[1]
    until_before = since_before.replace(day=min(day.day, most))
    return MonthSpan(since, day, since_before, until_before, is_now)


def month_span(book: Book, now: datetime | None = None) -> MonthSpan:
    """Give the month of today; of the last day something was recorded of a bike, where that is
    in an earlier month."""
    local = book.settings.local
    today = local(now or datetime.now(UTC)).date()
    newest = pc.max(rows_now(book, BIKES)["last_seen_at"]).as_py()
    last = today if newest is None else local(newest).date()
    is_now = last >= today.replace(day=1)
    return span_to(today if is_now else last, is_now=is_now)


def month_of(book: Book, span: MonthSpan, *, asker: Asker) -> Month:
    """Give the three figures of a month that the asker's role sees."""
    of = _Jobs(book, asker, job_tables(book))
    return Month(span, tuple(of.figure(name, span) for name in SEEN[asker.role]))


def month_jobs(
    book: Book, span: MonthSpan, name: Name, *, asker: Asker, limit: int | None = None
) -> tuple[MonthJob, ...]:
    """Give the jobs behind a figure, opened last first; at most so many.

    Raises WrongUse for a figure the asker's role has not.
    """
    if name not in SEEN[asker.role]:
        known = ", ".join(SEEN[asker.role])
        raise WrongUse(f"A {asker.role} has no figure {name}. Theirs are {known}.")
    of = _Jobs(book, asker, job_tables(book))
    days = (span.since, span.until)
    if name in ("own_minutes", "own_jobs"):
        return _own_jobs(of, of.own.minutes(*days))[:limit]
    jobs = of.closed(days) if name in ("contribution", "ratio") else of.opened(days)
    if name in _MARKS:
        jobs = jobs.kept(jobs.flags(_MARKS[name]))
    return _told(jobs.table.take(pa.array(jobs.rows)))[:limit]


_MARKS: Mapping[Name, str] = {"come_backs": "is_come_back", "quoted": "is_quoted"}
_COLUMNS = ["bike", "job", "tier", "opened_at", "closed_at"]


@dataclass(frozen=True)
class _Jobs:
    """A book's jobs as at now."""

    book: Book
    asker: Asker
    ledger: JobTables

    @cached_property
    def own(self) -> OwnWork:
        return OwnWork(self.book, self.asker.mechanic)

    @cached_property
    def _opened_day(self) -> Integers:
        return local_days(self.ledger.jobs["opened_at"], self.book.settings.zone)

    def opened(self, days: _Days) -> Columns:
        first, last = map(day_number, days)
        is_in = (self._opened_day >= first) & (self._opened_day <= last)
        return Columns(self.ledger.jobs, np.flatnonzero(is_in))

    def closed(self, days: _Days) -> Columns:
        return between(self.ledger.jobs, "closed_day", *map(day_number, days))

    def figure(self, name: Name, span: MonthSpan) -> MonthFigure:
        value, count = self._one(name, (span.since, span.until))
        before, count_before = self._one(name, (span.since_before, span.until_before))
        return MonthFigure(name, value, before, count, count_before, FEWEST.get(name, 0))

    def _one(self, name: Name, days: _Days) -> _One:
        if name in ("own_minutes", "own_jobs"):
            minutes = self.own.minutes(*days)
            return (sum(minutes.values()) if name == "own_minutes" else len(minutes)), len(minutes)
        if name == "contribution":
            return _judged(name, _contribution(self.closed(days)))
        if name == "ratio":
            return _judged(name, _ratio(self.closed(days)))
        opened = self.opened(days)
        marked = int(opened.flags(_MARKS[name]).sum()) if name in _MARKS else len(opened)
        return marked, len(opened)


def _judged(name: Name, found: _One) -> _One:
    """Give a figure, and none where it rests on too few jobs."""
    return (None if found[1] < FEWEST[name] else found[0]), found[1]


def _contribution(jobs: Columns) -> _One:
    nothing = np.zeros(len(jobs), dtype=np.int64)
    total = earnings(jobs, nothing, nothing, 1)[0]
    return total.contribution_per_hour_minor, total.count_jobs


def _ratio(jobs: Columns) -> _One:
    nothing = np.zeros(len(jobs), dtype=np.int64)
    found = spreads(jobs["minutes_quoted"], jobs["quoted_minutes"], nothing, 1)[0]
    return found.median, found.count


def _told(jobs: pa.Table) -> tuple[MonthJob, ...]:
    order = [("opened_at", "descending"), ("bike", "ascending"), ("job", "ascending")]
    rows = jobs.select(_COLUMNS).sort_by(order).to_pylist()
    return tuple(MonthJob(**{**row, **_instants(row)}) for row in rows)


def _instants(row: Mapping[str, Any]) -> dict[str, datetime | None]:
    return {name: row[name] and row[name].astimezone(UTC) for name in ("opened_at", "closed_at")}


def _own_jobs(of: _Jobs, minutes: Mapping[tuple[str, str], int]) -> tuple[MonthJob, ...]:
    table = of.ledger.jobs
    bikes = pa.array(sorted({bike for bike, _ in minutes}), pa.string())
    theirs = _told(table.filter(pc.is_in(table["bike"], bikes)))
    return tuple(
        MonthJob(
            one.bike, one.job, one.tier, one.opened_at, one.closed_at, minutes[one.bike, one.job]
        )
        for one in theirs
        if (one.bike, one.job) in minutes
    )
