"""What forecasts of a book rest on, worked out once for each state of the book.

Kept in memory as long as the book is; whoever moves a slider asks the same model again.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import cached_property
from threading import RLock
from weakref import WeakKeyDictionary

import pyarrow as pa

from ledger.analysis import job_time
from ledger.analysis.job_columns import Worked
from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.figures.foresee_bench import BenchDay, bench_day
from ledger.figures.job_tables import JobTables, job_tables
from ledger.figures.job_times import work_of
from ledger.kept import FEWEST_EVENTS
from ledger.kept.reading import newest_us

_MOST = 4
"""States of a book that are held: now, and what somebody looks back at."""
_MOST_PLANS = 64
_TABLES = ("jobs", "tasks", "days")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Foreseen:
    """A book's jobs as at an instant with what is fitted to them, each when it is first asked."""

    asked: Asked
    is_after_all: bool
    """No event occurred later, so that a later instant changes nothing."""
    tables: JobTables
    """The tables `jobs`, `tasks` and `days` alone."""
    lock: RLock = field(default_factory=RLock)

    def serves(self, when: Asked) -> bool:
        """Tell whether it is the same as at another instant, as known to another seq."""
        is_later = self.is_after_all and when.as_at >= self.asked.as_at
        return when.known_seq == self.asked.known_seq and (is_later or when == self.asked)

    @cached_property
    def _work(self) -> Worked:
        return work_of(self.tables)

    @cached_property
    def _fitted(self) -> job_time.JobTimes:
        told = {code: word.minutes for code, word in self.tables.words.tasks.items()}
        return job_time.fit(self._work, {code: float(of) for code, of in told.items() if of})

    @cached_property
    def _forecasts(self) -> dict[job_time.Plan, job_time.Forecast]:
        return {}

    @cached_property
    def _benches(self) -> dict[int, BenchDay]:
        return {}

    @cached_property
    def _scored(self) -> job_time.Calibration | None:
        return job_time.backtest(self._work)

    def forecast(self, plan: job_time.Plan) -> job_time.Forecast:
        """Give the minutes of a plan; raises CannotFit."""
        with self.lock:
            if plan not in self._forecasts:
                if len(self._forecasts) >= _MOST_PLANS:
                    self._forecasts.clear()
                self._forecasts[plan] = job_time.forecast(self._fitted, plan)
            return self._forecasts[plan]

    def bench(self, today: int) -> BenchDay:
        """Give a day (days since 1970-01-01) at the bench."""
        with self.lock:
            if today not in self._benches:
                self._benches[today] = bench_day(self.tables, today)
            return self._benches[today]

    def scored(self) -> job_time.Calibration | None:
        """Give how forecasts from what was known before would have fared."""
        with self.lock:
            return self._scored


@dataclass
class _Known:
    lock: RLock = field(default_factory=RLock)
    held: list[Foreseen] = field(default_factory=list)
    """The last asked for first."""


_known: WeakKeyDictionary[Book, _Known] = WeakKeyDictionary()
_known_lock = RLock()


def foreseen(book: Book, when: Asked) -> Foreseen:
    """Give what forecasts rest on as at an instant, as known to a seq."""
    with _known_lock:
        known = _known.setdefault(book, _Known())
    with known.lock:
        found = next((one for one in known.held if one.serves(when)), None) or _made(book, when)
        others = [one for one in known.held if one is not found]
        known.held = [found, *others[: _MOST - 1]]
        return found


def _made(book: Book, when: Asked) -> Foreseen:
    tables = job_tables(book, when.as_at, when.known_seq)
    return Foreseen(when, _is_after_all(book, tables, when), _held(tables))


def _is_after_all(book: Book, tables: JobTables, when: Asked) -> bool:
    """Tell whether no event comes after the instant; what is kept of a book is only served then."""
    if book.head.size >= FEWEST_EVENTS:
        return tables.kept("jobs") is not None
    return when.as_at >= _EPOCH + timedelta(microseconds=newest_us(book))


def _held(tables: JobTables) -> JobTables:
    """Give tables that hold no book: one held by its own entry would be kept for ever."""
    held = {name: getattr(tables, name) for name in _TABLES}
    return JobTables(replace(tables.ledger, source=_nothing), held.__getitem__)


def _nothing(name: str) -> pa.Table:
    raise LookupError(name)
