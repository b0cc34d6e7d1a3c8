"""Whether today's bench can take a job: the weekday's hours less what is worked and promised."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from ledger.analysis import capacity
from ledger.figures.capacity_rows import open_work
from ledger.figures.columns import between
from ledger.figures.foresee_shapes import BenchToday
from ledger.figures.foresee_words import ForeseeWords
from ledger.figures.job_tables import JobTables
from ledger.figures.terms_in_force import day_number, day_of

YEAR_DAYS = 365
_THURSDAY = 3
"""The weekday of day 0, 1970-01-01, Monday being 0."""


@dataclass(frozen=True, slots=True)
class BenchDay:
    """A day at the bench: what can be sold of it, and what of that is spoken for."""

    today: int
    worked_minutes: int
    promised_minutes: int
    bench: capacity.BenchToday | None
    """By the weekday's share of the week, as worked over a year before; None: no hours are told."""


def bench_day(ledger: JobTables, today: int) -> BenchDay:
    """Give the bench of a day (days since 1970-01-01)."""
    last_year = between(ledger.days, "day", today - YEAR_DAYS, today - 1)
    weekday = (last_year["day"] + _THURSDAY) % 7
    shares = capacity.weekday_shares(weekday, last_year["bench_minutes"])
    worked = between(ledger.days, "day", today, today).total("bench_minutes")
    promised = _promised(ledger, today, ForeseeWords(ledger.settings, ledger.words))
    hours = ledger.terms.sellable_hours(today)
    if hours is None:
        return BenchDay(today, worked, promised, None)
    bench = capacity.bench_today(
        shares, (today + _THURSDAY) % 7, hours, worked_minutes=worked, promised_minutes=promised
    )
    return BenchDay(today, worked, promised, bench)


def bench_today(of: BenchDay, p50: float, p80: float, words: ForeseeWords) -> BenchToday:
    """Say whether a day at the bench can take a job of so many minutes."""
    day, bench = day_of(of.today), of.bench
    worked, promised = of.worked_minutes, of.promised_minutes
    if bench is None:
        line = words.bench(None, worked, promised, p50)
        return BenchToday(day, None, worked, promised, None, None, None, line)
    left = bench.left_minutes
    return BenchToday(
        day=day,
        open_minutes=round(bench.open_minutes),
        worked_minutes=worked,
        promised_minutes=promised,
        left_minutes=round(left),
        is_room_p50=bool(p50 <= left),
        is_room_p80=bool(p80 <= left),
        line=words.bench(left, worked, promised, p50),
    )


ROOM = {
    (True, True): "Most such jobs would fit into today's bench.",
    (True, False): "Half of such jobs would fit into today's bench.",
    (False, False): "Most such jobs would not fit into today's bench.",
}
ROOM_UNKNOWN = "No terms tell how many bench hours can be sold: whether it fits is not known."


def room_alone(of: BenchToday) -> BenchToday:
    """Give whether a day can take a job without the minutes of whoever works there."""
    room = (bool(of.is_room_p50), bool(of.is_room_p80))
    line = ROOM_UNKNOWN if of.is_room_p50 is None else ROOM[room]
    return BenchToday(of.day, None, None, None, None, of.is_room_p50, of.is_room_p80, line)


def _promised(ledger: JobTables, today: int, words: ForeseeWords) -> int:
    """Give the minutes left of jobs promised for today or before, and not held."""
    return sum(
        job.minutes_left
        for job in open_work(ledger.jobs, ledger.terms, today, words)
        if job.promised_at is not None
        and job.waiting_for is None
        and _day(ledger, job.promised_at) <= today
    )


def _day(ledger: JobTables, at: datetime) -> int:
    return day_number(ledger.settings.local(at).date())
