"""The local days that figures are of: those asked for, or the 12 months up to an instant."""

from __future__ import annotations

from calendar import monthrange
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from ledger.book import Book
from ledger.errors import WrongUse
from ledger.figures.labour_shapes import Period
from ledger.figures.terms_in_force import day_number

EARLIEST = date(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class Span:
    """A period as day numbers: days since 1970-01-01, both included."""

    first: int
    last: int


def span_of(period: Period) -> Span:
    """Give a period as day numbers."""
    return Span(day_number(period.since), day_number(period.until))


def year_before(day: date) -> date:
    """Give the first day of the 12 months that end with a day: 29 March of 28 March's year ago."""
    month_end = min(day.day, monthrange(day.year - 1, day.month)[1])
    return date(day.year - 1, day.month, month_end) + timedelta(days=1)


def period_of(book: Book, since: date | None, until: date | None, as_at: datetime) -> Period:
    """Give the period asked for, at the longest to the day of the instant.

    Days to come have no work yet, and no fixed cost to carry. Raises WrongUse where the period
    ends before it begins, or begins before 1970 or after the instant.
    """
    today = book.settings.local(as_at).date()
    end = today if until is None else min(until, today)
    begin = year_before(end) if since is None else since
    if begin < EARLIEST:
        raise WrongUse(f"The period begins on {begin}. Give a first day from {EARLIEST} on.")
    if begin > today:
        raise WrongUse(
            f"The period begins on {begin}, after the day the figures are as at, {today}. "
            "Give a first day that is not after it."
        )
    if begin > end:
        raise WrongUse(
            f"The period ends on {end}, before it begins on {begin}. "
            "Give a first day that is not after the last."
        )
    return Period(begin, end)
