"""The bench page of a bike whose rider was forgotten, and of words that hold a contact."""

from __future__ import annotations

from pathlib import Path

import bench_book
import pytest
from app_page import Opener, shown
from bench_book import OPEN_JOB, OPEN_TAG, TAG

from dashboard.time_clock import recorded
from ledger.book import Book
from ledger.forgetting import forget, what_is_held


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A fresh book for the bench."""
    bench_book.bench_book(tmp_path / "book")
    return tmp_path / "book"


def noted(text: str, tag: str = TAG) -> list[dict]:
    data = {"position": "chain", "text": text}
    return [{"kind": "noted", "bike": tag, "actor": "ada", "data": data}]


def test_a_contact_in_a_note_is_told_at_the_press(path: Path) -> None:
    """It is in the book, and the bench says what would be right in its own words."""
    said = recorded(Book.open(path), lambda: noted("ring him on 0171 2345678"), "Noted")
    assert said.is_recorded and said.words.startswith("Noted. …78 looks like a telephone number.")
    assert "register" in said.words and "lockring" not in said.words
    assert "2345678" not in said.words


@pytest.mark.parametrize(
    "step", ["inspect", "measure", "pressures", "torque", "quote", "hand_back"]
)
def test_the_bench_of_a_forgotten_riders_bike_goes_on(
    path: Path, opened: Opener, step: str
) -> None:
    """Every step is drawn; only text is refused, with what to do."""
    book = Book.open(path)
    held = what_is_held(book, "r-2")
    assert OPEN_TAG in held.bikes
    forget(book, held)
    page = shown(opened(path, page="bench", tag=OPEN_TAG, who="ada", job=OPEN_JOB, step=step))
    assert OPEN_TAG in page and "Joss Arkle" not in page
    said = recorded(Book.open(path), lambda: noted("Creaks", OPEN_TAG), "Noted")
    assert not said.is_recorded and "Say who rides it now first" in said.words
