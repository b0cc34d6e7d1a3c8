"""The state of every bike as at a date, kept where it was asked before.

What is kept is keyed by (as at, as known). As known now it follows the book: only the bikes that
something was recorded of since, late or not, struck or linked, are folded anew. As known earlier it
never changes. Of the snapshots, those asked last are kept.
"""

from __future__ import annotations

import contextlib
import hashlib
import shutil
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pyarrow as pa

import ledger.kept
from ledger.engines.every.folds import States
from ledger.engines.every.views import views_of
from ledger.engines.tables import position_effects
from ledger.engines.views import RELATIONS
from ledger.kept.keep import END_OF_TIME, Keep, Read
from ledger.kept.mark import Mark, is_of
from ledger.kept.packed_states import packed, unpacked
from ledger.kept.reading import newest_us
from ledger.kept.shelf import Held, Shelf, by_bike
from ledger.queries import asked_of, every_bike

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.engines.duckdb import Asked
    from ledger.view import BikeView

MOST_EVENTS = 20_000_000
"""A greater book's states would fill the disk: they are worked out each time."""
MOST_SNAPSHOTS = 12
_CODE = tuple(
    f"ledger.{name}"
    for name in ("kept.packed_states", "engines.every", "engines.every.pieces",
                 "engines.every.rows", "engines.every.folds", "engines.every.columns",
                 "engines.every.laid")
)  # fmt: skip
_Make = Callable[[Read], pa.Table]
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def kept_states(
    book: Book, as_at: datetime | None = None, known_seq: int | None = None
) -> Iterator[States]:
    """Give what `ledger.queries.every_bike` gives, from what is kept where there is something."""
    asked, head = asked_of(book, as_at, known_seq), book.head
    if not ledger.kept.FEWEST_EVENTS <= head.size <= MOST_EVENTS:
        yield from every_bike(book, asked.as_at, asked.known_seq)
        return
    is_now = asked.known_seq >= head.size
    table = _followed(book, asked) if is_now else _frozen(book, asked)
    if len(table):
        yield unpacked(table)


def kept_views(
    book: Book, as_at: datetime | None = None, known_seq: int | None = None
) -> Iterator[BikeView]:
    """Give what `ledger.queries.bike_views` gives, from what is kept where there is something."""
    asked = asked_of(book, as_at, known_seq)
    for states in kept_states(book, asked.as_at, asked.known_seq):
        yield from views_of(states, book.settings.shop, asked.as_at, asked.known_seq)


def _followed(book: Book, asked: Asked) -> pa.Table:
    """Give the states as at an instant, as known now."""
    as_at = END_OF_TIME if _micros(asked.as_at) >= newest_us(book) else asked.as_at
    name = f"states_{_key(as_at)}"

    def make(read: Read) -> pa.Table:
        if read.is_whole:
            return packed(list(every_bike(book, as_at, book.head.size)))
        return packed([{relation: read(relation) for relation in RELATIONS}])

    keep = _keep(book, name, as_at, asked.known_seq, make)
    table = ledger.kept.followed(book, keep)
    _keep_few(book, keep.folder)
    return table


def _frozen(book: Book, asked: Asked) -> pa.Table:
    """Give the states as at an instant, as known earlier: what a prefix of the book says."""
    name, head = f"known_{_key(asked.as_at)}_{asked.known_seq}", book.head
    keep = _keep(book, name, asked.as_at, asked.known_seq, lambda read: pa.table({}))
    shelf = Shelf(book.path / "derived", keep)
    for found in shelf.found(head.size):
        if is_of(found.mark, book):
            return found.table
    table = by_bike(packed(list(every_bike(book, asked.as_at, asked.known_seq))))
    shelf.put(Held(Mark(head.size, head.commit, head.root, 0), head.size, table))
    _keep_few(book, keep.folder)
    return table


def _keep(book: Book, name: str, as_at: datetime, known_seq: int, make: _Make) -> Keep:
    words = book.vocabulary_known(known_seq)
    # What positions hide is the shop's to tell: told anew, everything is folded anew.
    effects = hashlib.sha256(repr(position_effects(words).to_pylist()).encode()).hexdigest()
    given = (as_at.isoformat(), effects)
    return Keep(name, RELATIONS, make, _CODE, given, as_at, is_by_range=False)


def _keep_few(book: Book, newest: str) -> None:
    """Note that one was asked for, and remove the snapshots that were asked for longest ago."""
    with contextlib.suppress(OSError):
        derived = book.path / "derived"
        (derived / newest).touch()
        folders = [one for kind in ("states", "known") for one in derived.glob(f"{kind}_*-*")]
        folders.sort(key=lambda one: one.stat().st_mtime, reverse=True)
        for old in folders[MOST_SNAPSHOTS:]:
            shutil.rmtree(old, ignore_errors=True)
        ledger.kept.let_go(book, [old.name for old in folders[MOST_SNAPSHOTS:]])


def _micros(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(microseconds=1)


def _key(moment: datetime) -> str:
    return str(_micros(moment)).replace("-", "before_")
