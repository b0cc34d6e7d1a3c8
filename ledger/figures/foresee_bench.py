"""Whether today's bench can take a job: the weekday's hours less what is worked and promised."""

from __future__ import annotations

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


def bench_today(
    ledger: JobTables, today: int, p50: float, p80: float, words: ForeseeWords
) -> BenchToday:
    """Give the bench of a day: its weekday's share of the week, as worked over a year before."""
    last_year = between(ledger.days, "day", today - YEAR_DAYS, today - 1)
    weekday = (last_year["day"] + _THURSDAY) % 7
    shares = capacity.weekday_shares(weekday, last_year["bench_minutes"])
    worked = between(ledger.days, "day", today, today).total("bench_minutes")
    promised = _promised(ledger, today, words)
    hours = ledger.terms.sellable_hours(today)
    if hours is None:
        line = words.bench(None, worked, promised, p50)
        return BenchToday(day_of(today), None, worked, promised, None, None, None, line)
    bench = capacity.bench_today(
        shares, (today + _THURSDAY) % 7, hours, worked_minutes=worked, promised_minutes=promised
    )
    left = bench.left_minutes
    return BenchToday(
        day=day_of(today),
        open_minutes=round(bench.open_minutes),
        worked_minutes=worked,
        promised_minutes=promised,
        left_minutes=round(left),
        is_room_p50=bool(p50 <= left),
        is_room_p80=bool(p80 <= left),
        line=words.bench(left, worked, promised, p50),
    )


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
