"""As of when great figures are shown: of a small book now, of a great one for a quarter hour."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
import small_book

from dashboard import data, kept_ahead, stands
from ledger.book import Book
from ledger.figures.ahead import BookTables
from ledger.figures.chain_keep import BookChains
from ledger.figures.worn import Worn, worn_of


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


@pytest.fixture
def great(book: Book, monkeypatch: pytest.MonkeyPatch) -> Book:
    """The same book, taken to be great; all of it is kept."""
    monkeypatch.setattr(stands, "GREAT_EVENTS", 1)
    monkeypatch.setattr(stands, "_stands", stands._Stands())
    monkeypatch.setattr("ledger.kept.FEWEST_EVENTS", 0)
    monkeypatch.setattr("ledger.figures.due_day.FEWEST_EVENTS", 0)
    return book


def told_anew(book: Book, at: float) -> None:
    """Wait for what is told beside the pages."""
    thread = stands._stands.telling.get(str(book.path))
    if thread is not None:
        thread.join()


def test_a_great_book_stands_for_a_quarter_hour(
    great: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Figures stay as of the first time, the page says so, and after the time they follow."""
    first = great.head.commit
    assert stands.commit_shown(great, 100.0) == first
    assert stands.note(great, data.words_of(great)) == ""
    second = noted(great, 1)
    over = 100.0 + stands.STANDS_SECONDS
    assert stands.commit_shown(great, over - 1) == first
    monkeypatch.setattr("time.monotonic", lambda: 101.0)
    assert "As the book stood at" in stands.note(great, data.words_of(great))
    assert stands.commit_shown(great, over) == first
    told_anew(great, over)
    assert stands.commit_shown(great, over + 1) == second
    third = noted(great, 2)
    assert stands.commit_shown(great, over + 2) == second != third


def test_what_is_kept_from_before_stands_until_new_figures_are_there(great: Book) -> None:
    """A server just started waits for nothing: the note says of when they are, then it is gone."""
    worn_of(great, BookTables(great))
    first, second = great.head.commit, noted(great, 1)
    for sort, shown in (("wear", first), ("chains", second)):
        assert stands.commit_shown(great, 5.0, sort) == shown
    figures = stands.shown(great, first, "wear")
    assert isinstance(figures, Worn)
    told_anew(great, 5.0)
    assert stands.commit_shown(great, 6.0) == second
    assert isinstance(stands.shown(great, second, "wear"), Worn)
    assert isinstance(stands.shown(great, second, "chains"), BookChains)
    assert stands.note(great, data.words_of(great)) == ""


def test_figures_from_longer_ago_do_not_stand(great: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever asks first waits for new ones."""
    worn_of(great, BookTables(great))
    second = noted(great, 1)
    monkeypatch.setattr(stands, "LONGEST_BEHIND", timedelta(0))
    assert stands.commit_shown(great, 5.0) == second
    assert stands.shown(great, second, "wear") is None


def test_what_cannot_be_told_anew_goes_on_standing(
    great: Book, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is tried again when it has stood its time once more, and not at every look."""
    first = stands.commit_shown(great, 100.0)
    noted(great, 1)
    monkeypatch.setattr(stands, "worn_of", lambda *given: 1 / 0)
    over = 100.0 + stands.STANDS_SECONDS
    assert stands.commit_shown(great, over) == first
    told_anew(great, over)
    assert stands.commit_shown(great, over + 1) == first
    assert not stands._stands.telling


def test_a_page_waits_only_for_what_it_is_read_from() -> None:
    """The list of bikes is there first; wear says itself what it does; nothing is made: no wait."""
    making = kept_ahead.Making()
    assert not making.waits("faults")
    with making.telling():
        assert making.waits("bikes") and making.waits("faults") and not making.waits("wear")
        assert "1 of 5: the list of bikes" in making.said
        making.done = 1
        assert not making.waits("bikes") and making.waits("")
    assert not making.waits("faults")


def test_all_that_pages_are_read_from_is_made_ahead(great: Book) -> None:
    """Every step is taken in turn, and what it made lies beside the book."""
    making = kept_ahead.Making()
    kept_ahead.make(great, making)
    assert making.done == len(kept_ahead.NAMES) and not making.is_made
    made = {path.parent.name.rpartition("-")[0] for path in great.path.glob("derived/*/*.arrow")}
    assert {"bike_summary", "open_jobs", "fitted_ages", "job_jobs", "fault_episodes", "wear_fit",
            "chains", "due_parts"} <= made  # fmt: skip
