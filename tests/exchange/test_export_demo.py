from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from demo_events.names import CURRENCY, SHOP, TIME_ZONE
from ledger.book import Book
from ledger.exchange.export import export_book
from ledger.exchange.own import import_own
from ledger.queries import bike_views
from tests.long import times
from tests.whole_demo import whole_demo


def empty(folder: Path, name: str) -> Book:
    return Book.init(folder / name, shop=SHOP, currency=CURRENCY, time_zone=TIME_ZONE)


@pytest.mark.slow
def test_the_whole_demo_exported_and_brought_back_has_the_same_states(
    tmp_path: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Every bike of the demo has the same state after export and import, at several instants.

    Sealed, with the keys brought along, the root is the same too.
    """
    book = Book.open(whole_demo(tmp_path_factory))
    path = tmp_path / "events.jsonl"
    with path.open("wb") as stream:
        export_book(book, stream, "cloudevents")
    other = empty(tmp_path, "other")
    (other.path / "riders.sqlite").write_bytes((book.path / "riders.sqlite").read_bytes())
    other = Book.open(other.path)
    assert import_own(other, path).root == book.head.root
    draw = Random(20260301)
    for _ in range(times(6, 3)):
        event = book.at_seq(draw.randrange(1, book.head.size))
        assert event is not None
        moment = event.occurred_at
        known = draw.choice((None, book.head.size * 2 // 3))
        expected = list(bike_views(book, moment, known))
        assert expected
        assert list(bike_views(other, moment, known)) == expected
