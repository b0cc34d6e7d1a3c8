"""What kept tables are made from: relations of a whole book, or of some of its bikes."""

from __future__ import annotations

import random
from pathlib import Path

from ledger.book import Book
from ledger.kept.reading import events_of, of_all, of_some
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from tests.independent.job_books import SHOP, book_events


def test_a_reading_says_whether_it_is_of_the_whole_book(tmp_path: Path) -> None:
    """What reads all of a book, and what reads some of its bikes, tell themselves apart."""
    book = Book.init(tmp_path / "book", shop=SHOP, time_zone="Europe/Amsterdam")
    Log(LocalStore(book.path / "events")).commit(lambda head: book_events(random.Random(2)))
    book = Book.open(book.path)
    first = book.bikes()[0]
    whole = of_all(book, book.head.size)
    parts = of_some(book, events_of(book, [first], {}), book.head.size, ("labour_spells",))
    assert (whole.is_whole, parts.is_whole) == (True, False)
    assert set(parts("labour_spells")["bike"].to_pylist()) == {first}
    assert set(whole("labour_spells")["bike"].to_pylist()) > {first}
