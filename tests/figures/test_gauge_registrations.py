"""Which registrations of a gauge tell how far its readings may be off."""

from __future__ import annotations

from pathlib import Path

import pytest
from due_books import GULL, NOW, TERN, Entry, book_of, chain, fitted, km, registered

from ledger.book import Book
from ledger.figures.wear import wear_of


def gauge(day: str, error: str) -> Entry:
    data = {"gauge": "g1", "label": "checker", "quantities": ["elongation"]}
    return day, "gauge_registered", None, {**data, "error": {"value": error, "unit": "%"}}


def ridden(bike: str) -> list[Entry]:
    read = [
        (km(day, bike, far), chain(day, bike, shown, gauge="g1"))
        for day, far, shown in (("2025-06-01", 1000, "0.2"), ("2026-01-01", 2000, "0.5"))
    ]
    begun = [registered(bike), km("2025-01-01", bike, 0)]
    return [
        *begun,
        fitted("2025-01-01", bike, "chain", f"{bike}-c"),
        *(e for two in read for e in two),
    ]


def error_of(book: Book) -> float:
    """Give how far the gauge is taken to be off, from its registration and its readings."""
    (found,) = wear_of(book, NOW).gauges
    return found.error


def test_the_last_registration_of_a_gauge_counts_and_a_struck_one_does_not(tmp_path: Path) -> None:
    """A wide error registered later is believed until its registration is struck."""
    bikes = [*ridden(GULL), *ridden(TERN)]
    first, wide = gauge("2025-01-01", "0.02"), gauge("2025-02-01", "0.2")
    alone = error_of(book_of(tmp_path / "alone", first, *bikes))
    book = book_of(tmp_path / "both", first, wide, *bikes)
    assert error_of(book) > 1.5 * alone
    later = next(one for one in book.book_events() if one.seq == 2)
    book.strike(later.id, "typed wrong", "mia", confirm_clock=True)
    assert error_of(book) == pytest.approx(alone, rel=1e-9)
