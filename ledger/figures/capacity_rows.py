"""The bench by week, and the open jobs with what is left of them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.columns import Columns
from ledger.figures.job_sums import sums
from ledger.figures.labour_shapes import Period
from ledger.figures.labour_words import BenchNames
from ledger.figures.margin_shapes import OpenWork, WeekSold
from ledger.figures.terms_in_force import TermsInForce, day_number
from ledger.money import rounded


def monday_of(day: date) -> date:
    """Give the first day of the ISO week a day is in."""
    return day - timedelta(days=day.weekday())


def weeks_sold(days: Columns, period: Period, terms: TermsInForce) -> tuple[WeekSold, ...]:
    """Give every ISO week of the period with what was worked of `JobLedger.days`, and sellable."""
    first = monday_of(period.since)
    place = (days["day"] - day_number(first)) // 7
    count = (monday_of(period.until) - first).days // 7 + 1
    bench, charged = (
        sums(place, days[name], count) for name in ("bench_minutes", "charged_minutes")
    )
    return tuple(
        _week(first + timedelta(days=7 * at), period, terms, int(bench[at]), int(charged[at]))
        for at in range(count)
    )


def _week(monday: date, period: Period, terms: TermsInForce, bench: int, charged: int) -> WeekSold:
    days = [monday + timedelta(days=place) for place in range(7)]
    days = [day for day in days if period.since <= day <= period.until]
    hours = [terms.sellable_hours(day_number(day)) for day in days]
    told = [each for each in hours if each is not None]
    year, week, _ = monday.isocalendar()
    return WeekSold(
        week=f"{year}-W{week:02d}",
        starts_on=monday,
        days=len(days),
        bench_minutes=bench,
        charged_minutes=charged,
        open_minutes=rounded(sum(told, Fraction(0)) * 60 / 7) if told else None,
    )


def open_work(
    jobs: pa.Table, terms: TermsInForce, today: int, words: BenchNames
) -> tuple[OpenWork, ...]:
    """Give the open jobs: promised first and soonest first, then longest open."""
    rows = jobs.filter(pc.is_null(jobs["closed_at"])).to_pylist()
    found = [_open(row, terms, today, words) for row in rows]
    return tuple(sorted(found, key=lambda job: (
        job.promised_at is None, job.promised_at or job.opened_at, job.opened_at, job.job
    )))  # fmt: skip


def _open(row: dict[str, Any], terms: TermsInForce, today: int, words: BenchNames) -> OpenWork:
    planned = row["quoted_minutes"] + row["found_later_quoted_minutes"]
    if not row["is_quoted"]:
        tier = terms.tier_on(row["tier"], today)
        planned = (tier.minutes or 0) if tier else 0
    worked = row["minutes_quoted"] + row["minutes_found_later"]
    return OpenWork(
        bike=row["bike"],
        job=row["job"],
        tier=row["tier"],
        tier_label=words.tier(row["tier"]),
        opened_at=row["opened_at"],
        promised_at=row["promised_at"],
        waiting_for=row["waiting_for"],
        minutes_left=max(planned - worked, 0),
        is_quoted=row["is_quoted"],
    )


def minutes_ahead(jobs: Sequence[OpenWork]) -> int:
    """Give the minutes left of all open jobs."""
    return sum(job.minutes_left for job in jobs)
