"""What a person types, made exact."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard import filters
from dashboard.entries import Entry
from ledger.events.types import TAG_ALPHABET


def entry(line: str, system: str | None = None, day: int = 2) -> Entry:
    """Give one line of a timeline, on a day of April 2025."""
    at = datetime(2025, 4, day, 9, tzinfo=UTC)
    return Entry(
        "e", 1, "noted", at, None, "ada", None, system, None, line, "", False, "", {"text": line}
    )


def test_tag_is_folded_as_crockford_says() -> None:
    """Lower case, dashes, spaces and look-alikes read as the tag they stand for.

    Source of the folding: Crockford, Base 32, "Symbol Values" (i, l as 1; o as 0).
    """
    assert filters.fold_tag(" 7k3m-9qxa ") == "7K3M9QXA"
    assert filters.fold_tag("oil0 1lI0") == "01101110"


@given(st.text(alphabet=TAG_ALPHABET, min_size=8, max_size=8))
def test_folding_a_tag_changes_nothing(tag: str) -> None:
    """A tag as the book writes it is its own folding, and is a tag."""
    assert filters.fold_tag(tag) == tag
    assert filters.is_tag(tag)


def test_too_short_or_foreign_is_no_tag() -> None:
    """Letters of a make are not taken for a tag; nor is the U that the alphabet leaves out."""
    assert not filters.is_tag("varde")
    assert not filters.is_tag("7K3M9QXU")


def test_nearest_tags_come_best_first() -> None:
    """A tag misread by one sign finds the tag it was."""
    assert filters.nearest_tags("7K3M9QXC", ["Z8T4W2HN", "7K3M9QXA"]) == ["7K3M9QXA"]


def test_a_day_that_does_not_exist_is_none() -> None:
    """An address with nonsense for a date asks for no date; with a time, for its day."""
    assert filters.asked_day("2025-02-30") is None
    assert filters.asked_day("soon") is None
    assert filters.asked_day(None) is None
    assert filters.asked_day("2025-06-01T10:00") == date(2025, 6, 1)
    assert filters.asked_day("0001-01-01") == date(1900, 1, 1)


@pytest.mark.parametrize(
    ("typed", "number"),
    [("7", 7), ("0", 0), ("-1", 28), ("1e3", 28), (None, 28), ("", 28), ("9" * 5000, 365)],
)
def test_a_number_in_an_address_is_kept_within_reason(typed: str | None, number: int) -> None:
    """What is no whole number is the usual one; what is too much is the most there is."""
    assert filters.asked_number(typed, usual=28, most=365) == number


def test_days_outside_a_life_are_its_ends() -> None:
    """A date before the first event shows the first day, one after the last the last."""
    first, last = date(2023, 3, 4), date(2025, 4, 2)
    assert filters.within(date(2020, 1, 1), first, last) == first
    assert filters.within(date(2030, 1, 1), first, last) == last
    assert filters.within(date(2024, 1, 1), first, last) == date(2024, 1, 1)


def test_words_are_found_in_any_order_and_case() -> None:
    """All words must stand somewhere in the line; their order and case do not matter."""
    kept = [entry("Rear brake looked at: Squeal"), entry("Front brake looked at")]
    assert filters.narrowed(kept, (), "squeal REAR") == kept[:1]
    assert filters.narrowed(kept, (), "") == kept
    assert filters.narrowed(kept, (), "squeal front") == []


def test_systems_narrow_and_none_means_all() -> None:
    """Choosing systems keeps their entries; entries of no system need no system chosen."""
    kept = [entry("a", "drivetrain"), entry("b", "steering"), entry("c")]
    assert filters.narrowed(kept, ["steering"], "") == kept[1:2]
    assert filters.narrowed(kept, [], "") == kept
    assert filters.systems_in(kept) == ["drivetrain", "steering"]


def test_neighbours_of_a_day() -> None:
    """The visit before and after are the nearest days with events, never the day itself."""
    days = [date(2023, 1, 1), date(2024, 1, 1), date(2025, 1, 1)]
    assert filters.neighbour_days(days, date(2024, 1, 1)) == (days[0], days[2])
    assert filters.neighbour_days(days, date(2022, 1, 1)) == (None, days[0])
    assert filters.neighbour_days(days, date(2026, 1, 1)) == (days[2], None)


def test_a_long_timeline_is_cut_around_the_date() -> None:
    """The entries kept stand around the date, a third later, and never fewer than fit."""
    days = [entry(str(day), day=day) for day in range(1, 31)]

    def kept(day: int) -> list[str]:
        at = datetime(2025, 4, day, 12, tzinfo=UTC)
        return [one.line for one in filters.around(days, at, 6)]

    assert kept(10) == ["7", "8", "9", "10", "11", "12"]
    assert kept(30) == ["25", "26", "27", "28", "29", "30"]
    assert kept(1) == ["1", "2", "3", "4", "5", "6"]
    assert list(filters.around(days, datetime(2025, 4, 1, tzinfo=UTC), 30)) == days


def test_only_tags_that_read_nearly_the_same_are_offered() -> None:
    """Two signs wrong is near; a tag with four others in it is another tag."""
    tags = ["7K3M9QXA", "KPMQMXDG", "7K3M9X88"]
    assert filters.nearest_tags("7K3M9QX8", tags) == ["7K3M9X88", "7K3M9QXA"]
