"""Parts with a limit on their age: the maker's or the shop's own, by the calendar."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from due_books import GULL, NOW, Entry, book_of, fitted, parts_of, registered
from hypothesis import given
from hypothesis import strategies as st

from ledger.book import Book
from ledger.figures.ages import PartAge, after, age_words, part_ages
from ledger.figures.due import due_list
from ledger.figures.due_words import DueWords
from ledger.figures.readings import book_readings

TYRE = "front_wheel.tyre"


def limited(value: str, unit: str) -> dict[str, Any]:
    return {"limits": [{"quantity": "age", "limit": {"value": value, "unit": unit}}]}


def shop_limit(value: str) -> Entry:
    due = {"value": value, "unit": "years"}
    limit = {"position": TYRE, "quantity": "age", "direction": "above", "due": due,
             "source": "the shop's own"}  # fmt: skip
    return "2025-01-01", "terms_set", None, {"from_on": "2025-01-01", "limits": [limit]}


def ages(book: Book) -> list[PartAge]:
    return part_ages(book, book_readings(book, NOW).parts, NOW)


def test_a_makers_limit_on_age_gives_a_day(tmp_path: Path) -> None:
    """Fitted on a day, a limit of so many months is reached on that day so many months later."""
    tyre = fitted("2025-04-02", GULL, TYRE, "T", **limited("18", "months"))
    (age,) = ages(book_of(tmp_path, registered(GULL), tyre))
    assert (age.part, age.due_on, age.is_makers) == ("T", date(2026, 10, 2), True)
    assert (age.limit_days, age.why_unknown) == (547.875, None)
    assert age.age_days == 425.0


def test_the_shops_own_limit_holds_where_the_maker_gives_none(tmp_path: Path) -> None:
    """A tyre without a maker's limit goes by the shop's, one with it by the maker's."""
    plain = fitted("2025-04-02", GULL, TYRE, "T")
    (age,) = ages(book_of(tmp_path / "a", registered(GULL), shop_limit("6"), plain))
    assert (age.due_on, age.is_makers) == (date(2031, 4, 2), False)
    makers = fitted("2025-04-02", GULL, TYRE, "T", **limited("3", "years"))
    (age,) = ages(book_of(tmp_path / "b", registered(GULL), shop_limit("6"), makers))
    assert (age.due_on, age.is_makers) == (date(2028, 4, 2), True)


def test_an_age_that_was_noted_is_no_reading_of_wear(tmp_path: Path) -> None:
    """A shop's limit on age does not make the model draw a line of age against kilometres."""
    noted = {"position": TYRE, "quantity": "age", "value": {"value": "2", "unit": "years"}}
    book = book_of(
        tmp_path, registered(GULL), shop_limit("6"), fitted("2025-04-02", GULL, TYRE, "T"),
        ("2025-05-02", "measured", GULL, noted),
    )  # fmt: skip
    assert len(book_readings(book, NOW).readings) == 0


@pytest.mark.parametrize(
    ("more", "why"),
    [({"is_found": True}, "found fitted"), ({"origin": "second hand"}, "not new when fitted")],
)
def test_a_part_of_unknown_age_has_no_day(tmp_path: Path, more: dict[str, Any], why: str) -> None:
    """A part found fitted, or fitted second hand, is older than anybody knows; it is not due."""
    tyre = fitted("2025-01-02", GULL, TYRE, "T", **more, **limited("1", "year"))
    book = book_of(tmp_path, registered(GULL), tyre)
    (age,) = ages(book)
    assert (age.due_on, age.age_days, age.why_unknown) == (None, None, why)
    assert parts_of(due_list(book, NOW, within_days=1000)) == []


def test_an_age_past_its_limit_is_due_and_one_far_off_is_not(tmp_path: Path) -> None:
    """By its day alone: nothing needs to have been read."""
    book = book_of(
        tmp_path, registered(GULL),
        fitted("2025-04-02", GULL, TYRE, "old", **limited("1", "year")),
        fitted("2026-05-30", GULL, "rear_wheel.tyre", "new", **limited("1", "year")),
    )  # fmt: skip
    (part,) = parts_of(due_list(book, NOW))
    assert (part.part, part.quantity, part.standing) == ("old", "age", "past")
    assert (part.days_beyond, part.chance_past) == (60.0, 1.0)
    said = DueWords(book.settings)
    assert said.when(part) == "was due Apr 2, 2026"
    assert said.told(part) == "front tyre: fitted Apr 2, 2025, age limit 1 year: Apr 2, 2026."


def test_a_part_without_a_limit_on_age_has_none(tmp_path: Path) -> None:
    """No limit is published for all parts, so none is made up."""
    book = book_of(tmp_path, registered(GULL), fitted("2025-04-02", GULL, TYRE, "T"))
    assert ages(book) == []


def test_the_last_of_february_stays_in_february() -> None:
    """A year after the 29th is the 28th, four years after it the 29th again."""
    first = date(2024, 2, 29)
    assert after(first, Decimal("365.25")) == date(2025, 2, 28)
    assert after(first, Decimal("1461")) == date(2028, 2, 29)


@given(years=st.integers(0, 90), day=st.dates(date(1990, 1, 1), date(2060, 12, 31)))
def test_whole_years_keep_day_and_month(years: int, day: date) -> None:
    """Whatever leap days lie between, but for the 29th of February."""
    found = after(day, years * Decimal("365.25"))
    assert (found.year, found.month) == (day.year + years, day.month)
    assert found.day == day.day or (day.month, day.day, found.day) == (2, 29, 28)


@pytest.mark.parametrize(
    ("days", "said"),
    [("2191.5", "6 years"), ("547.875", "18 months"), ("365.25", "1 year"), ("14", "14 days")],
)
def test_a_limit_on_age_is_said_as_people_say_it(days: str, said: str) -> None:
    """In years where they are whole, else in months, else in days."""
    assert age_words(Decimal(days)) == said
