"""The call list of a great book, kept for the day: what it says is what is worked out anew."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from due_books import CROW, GULL, NOW, TERN, book_of, pads, ridden, whose

import ledger.kept
from ledger.book import Book
from ledger.figures import due_day
from ledger.figures.calls import DueList
from ledger.figures.due import due_list
from ledger.figures.wear import wear_of
from ledger.storage import aside

NEW = "1B4D6F8H"
"""Before GULL in the order of tags."""
LATE = "2026-05-02T12:00:00Z"


@pytest.fixture(autouse=True)
def small_books_are_great(monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything is kept, however small the book."""
    monkeypatch.setattr(ledger.kept, "FEWEST_EVENTS", 0)
    monkeypatch.setattr(due_day, "FEWEST_EVENTS", 0)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """Chains past, coming and far from their limits, and pads, of three riders."""
    return book_of(
        tmp_path,
        *ridden(GULL), whose(GULL, "r1"),
        *ridden(TERN, "0.45"), whose(TERN, "r2", "r1"), pads("2026-01-01", TERN, "1.1"),
        *ridden(CROW, "0.3"), whose(CROW, "r3"),
    )  # fmt: skip


def kept_files(book: Book) -> list[Path]:
    return sorted(book.path.glob("derived/due_parts-*/*.arrow"))


def anew(book: Book, found: DueList) -> DueList:
    """Give what is worked out as at the same instant, with nothing kept."""
    return due_list(book, found.as_at, within_days=found.within_days, seen_within_days=None)


def now(book: Book, within_days: int = 28) -> DueList:
    return due_list(book, within_days=within_days, seen_within_days=None)


def test_what_is_kept_is_what_is_worked_out(book: Book) -> None:
    """Within any number of days, and in another process; as at one moment of the day."""
    found = {days: now(book, days) for days in (0, 7, 28, 91, 92)}
    (file,) = kept_files(book)
    written = file.stat().st_mtime_ns
    for days, one in found.items():
        again = now(Book.open(book.path), days)
        assert again == one == anew(book, one)
    assert len({one.as_at for one in found.values()}) == 1
    assert found[0].count_calls >= 1
    assert file.stat().st_mtime_ns == written
    beyond = now(book, 93)
    assert beyond.as_at > found[92].as_at
    assert beyond == anew(book, beyond)


def test_another_instant_is_never_answered_from_it(book: Book) -> None:
    """A day that is asked for by name, and a book as it was known."""
    now(book)
    earlier = due_list(book, NOW - timedelta(days=60), seen_within_days=None)
    assert earlier.as_at == NOW - timedelta(days=60)
    assert due_list(book, known_seq=0).calls == ()


def test_the_next_day_is_worked_out_anew(book: Book) -> None:
    """And takes the place of the day before."""
    today = now(book)
    (before,) = kept_files(book)
    worn = wear_of(book)
    tomorrow = replace(
        worn, as_at=worn.as_at + timedelta(days=1), today=worn.today + timedelta(days=1)
    )
    found = due_list(book, wear=tomorrow, seen_within_days=None)
    assert (found.today, found.as_at) == (tomorrow.today, tomorrow.as_at)
    assert today.today < found.today
    assert found == due_list(book, tomorrow.as_at, seen_within_days=None)
    assert [one.parent != before.parent for one in kept_files(book)] == [True]


def test_who_keeps_a_bike_and_what_is_on_the_bench_is_told_as_it_is(book: Book) -> None:
    """What was recorded since moves the list, and a fit of the book before does not hide it."""
    stood = wear_of(book)
    assert GULL in {bike.bike for call in now(book).calls for bike in call.bikes}
    opened = {"kind": "job_opened", "bike": GULL, "job": "J9", "actor": "mia", "occurred_at": LATE}
    book.append([{**opened, "data": {"complaint": "it slips"}}])
    found = due_list(book, wear=stood, seen_within_days=None)
    assert [bike.bike for bike in found.bench] == [GULL]
    assert GULL not in {bike.bike for call in found.calls for bike in call.bikes}


def test_a_late_entry_a_strike_and_a_join_are_in_it(book: Book) -> None:
    """Each leads to a fit of its own, and so to a list of its own."""
    said = [now(book)]
    value = {"value": "0.9", "unit": "%"}
    data = {"position": "chain", "quantity": "elongation", "value": value}
    late = {"kind": "measured", "bike": CROW, "actor": "mia", "occurred_at": LATE, "data": data}
    (made,) = book.append([late]).events
    said.append(now(book))
    strike = {"kind": "event_struck", "actor": "mia", "bike": CROW,
              "data": {"target": made.id, "reason": "another bike's"}}  # fmt: skip
    book.append([strike])
    said.append(now(book))
    again = {"kind": "bike_registered", "bike": NEW, "actor": "mia", "occurred_at": LATE}
    ends = {"first": {"bike": GULL}, "second": {"bike": NEW}}
    link = {"kind": "bike_linked", "actor": "mia", "occurred_at": LATE, "data": ends}
    book.append([{**again, "data": {}}, link])
    said.append(now(book))
    assert said[-1] == anew(Book.open(book.path), said[-1])
    bikes = [{bike.bike for call in found.calls for bike in call.bikes} for found in said]
    assert (CROW in bikes[0], CROW in bikes[1], CROW in bikes[2]) == (False, True, False)
    assert (GULL in bikes[2], GULL in bikes[3], NEW in bikes[3]) == (True, False, True)


def damages(book: Book) -> Iterator[None]:
    """Leave what is kept deleted, cut off, or with another table in it."""
    shutil.rmtree(book.path / "derived")
    yield
    (file,) = kept_files(book)
    file.write_bytes(file.read_bytes()[:-50])
    yield
    (file,) = kept_files(book)
    table = aside.read(file)
    assert table is not None
    told = {key.decode(): value.decode() for key, value in table.schema.metadata.items()}
    aside.write(file, table.select([0]), told)
    yield


def test_what_was_lost_or_damaged_is_made_anew(book: Book) -> None:
    """The answer is the same, and lies there again."""
    first = now(book)
    for _ in damages(book):
        again = now(Book.open(book.path))
        assert replace(again, as_at=first.as_at).count_calls == first.count_calls
        assert again == anew(book, again)
        assert len(kept_files(book)) == 1


def test_of_a_smaller_book_nothing_is_kept(book: Book, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is worked out as of the moment it is asked."""
    monkeypatch.setattr(due_day, "FEWEST_EVENTS", book.head.size + 1)
    assert now(book).as_at < now(book).as_at
    assert kept_files(book) == []
