"""As of when great figures are shown: of a small book now, of a great one for a quarter hour."""

from __future__ import annotations

from pathlib import Path

import pytest
import small_book

from dashboard import data, stands
from ledger.book import Book


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """A small book of its own."""
    return small_book.small_book(tmp_path / "book")


def noted(book: Book, number: int) -> int:
    """Record one more thing; gives the commit it is in."""
    at = f"2025-06-0{number}T10:00:00+02:00"
    book.append([small_book.event("noted", at, position="frame", text="More")])
    return book.head.commit


def test_a_small_book_is_always_shown_as_it_is(book: Book) -> None:
    """What was recorded a moment ago is in every figure, and no note says otherwise."""
    for number in (1, 2):
        assert stands.commit_shown(book, 0.0) != noted(book, number)
        assert stands.commit_shown(book, 0.0) == book.head.commit
    assert stands.note(book, data.words_of(book)) == ""


def test_a_great_book_stands_for_a_quarter_hour(
    book: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Figures stay as of the first time, the page says so, and after the time they follow."""
    monkeypatch.setattr(stands, "GREAT_EVENTS", 1)
    first = book.head.commit
    assert stands.commit_shown(book, 100.0) == first
    assert stands.note(book, data.words_of(book)) == ""
    second = noted(book, 1)
    assert stands.commit_shown(book, 100.0 + stands.STANDS_SECONDS - 1) == first
    monkeypatch.setattr("time.monotonic", lambda: 101.0)
    assert "As the book stood at" in stands.note(book, data.words_of(book))
    assert stands.commit_shown(book, 100.0 + stands.STANDS_SECONDS) == second
    third = noted(book, 2)
    assert stands.commit_shown(book, 101.0 + stands.STANDS_SECONDS) == second != third
