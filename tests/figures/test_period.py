"""The local days that figures are of."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from ledger.book import Book
from ledger.errors import WrongUse
from ledger.figures.period import period_of

NOON = datetime(2026, 3, 29, 12, tzinfo=UTC)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """Give an empty book whose days are those of UTC."""
    return Book.init(tmp_path / "book", shop="quay", name="Quay Works", currency="EUR",
                     time_zone="UTC", locale="en")  # fmt: skip


def test_without_days_it_is_the_twelve_months_up_to_the_instant(book: Book) -> None:
    """Both ends are included, and the last day of a month has one a year ago."""
    period = period_of(book, None, None, NOON)
    assert (period.since, period.until) == (date(2025, 3, 30), date(2026, 3, 29))


def test_days_to_come_are_not_in_it(book: Book) -> None:
    """They have no work yet, and no fixed cost that an hour could carry."""
    period = period_of(book, date(2026, 1, 1), date(2026, 12, 31), NOON)
    assert (period.since, period.until) == (date(2026, 1, 1), date(2026, 3, 29))
    assert period_of(book, date(2026, 1, 1), date.max, NOON) == period


@pytest.mark.parametrize(
    ("since", "until", "wrong"),
    [
        (date(2026, 2, 2), date(2026, 2, 1), "before it begins"),
        (date(2026, 3, 30), None, "after the day the figures are as at"),
        (date(1, 1, 1), None, "from 1970-01-01 on"),
    ],
)
def test_what_is_no_period_is_refused(
    book: Book, since: date, until: date | None, wrong: str
) -> None:
    """One that ends before it begins, lies ahead, or begins too early to be meant."""
    with pytest.raises(WrongUse, match=wrong):
        period_of(book, since, until, NOON)
