"""Times as the shop's clocks show them."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from ledger.book import Book
from ledger.errors import Refused
from ledger.settings import BookSettings

QUAY = BookSettings("quay", "Quay", "EUR", "Europe/Lisbon", "en")
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def test_a_time_that_the_clocks_skip_is_refused_with_the_one_they_show() -> None:
    """On 29 March 2026 the clocks of Lisbon go from 01:00 to 02:00 (IANA tz database)."""
    with pytest.raises(ValueError, match=r"'2026-03-29 01:30' is skipped .* write 2026-03-29 02:3"):
        QUAY.instant("2026-03-29 01:30")
    assert QUAY.instant("2026-03-29 00:59") == datetime(2026, 3, 29, 0, 59, tzinfo=UTC)
    assert QUAY.instant("2026-03-29 02:00") == datetime(2026, 3, 29, 1, tzinfo=UTC)


def test_of_a_time_shown_twice_the_first_is_meant() -> None:
    """On 25 October 2026 they show 01:00 to 02:00 twice; with its zone, either can be said."""
    assert QUAY.instant("2026-10-25 01:30") == datetime(2026, 10, 25, 0, 30, tzinfo=UTC)
    assert QUAY.instant("2026-10-25 01:30+00:00") == datetime(2026, 10, 25, 1, 30, tzinfo=UTC)


def test_an_entry_at_a_skipped_time_is_refused(tmp_path: Path) -> None:
    """The refusal names the field and the time the clocks show; nothing is recorded."""
    book = Book.init(
        tmp_path / "book", shop="quay", time_zone="Europe/Lisbon", clock=lambda: NOW
    )  # fmt: skip
    draft = {"kind": "bike_registered", "bike": "7K3M9QXA", "actor": "mia", "data": {}}
    with pytest.raises(Refused, match=r"occurred_at.*skipped by the clocks of Europe/Lisbon"):
        book.append([{**draft, "occurred_at": "2026-03-29T01:30"}])
    assert book.head.size == 0


@pytest.mark.parametrize("day", ["9999-12-31", "1899-12-31", "2201-01-01 00:00"])
def test_a_date_of_another_age_is_told_to_be_one(day: str) -> None:
    with pytest.raises(ValueError, match=f"'{day}' is outside the years 1900 to 2200"):
        QUAY.instant(day)


@pytest.mark.parametrize("text", ["", "2026", "2026-02-30", "tomorrow"])
def test_what_is_no_date_is_told_what_one_looks_like(text: str) -> None:
    with pytest.raises(ValueError, match=f"'{text}' is not a date; write 2026-03-01"):
        QUAY.instant(text)


@pytest.mark.parametrize("text", ["20260303", "2026-W10-2", "2026W102"])
def test_a_day_in_another_form_is_told_how_to_write_it(text: str) -> None:
    """It would be taken for the start of that day, and a bare date is the end of it."""
    with pytest.raises(ValueError, match="is a day in another form; write 2026-03-03"):
        QUAY.instant(text)
