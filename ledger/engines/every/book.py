"""Every bike's state asked of a book."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from threading import RLock
from typing import TYPE_CHECKING

import pyarrow as pa

import ledger.engines.every as every
from ledger.engines.bounded import private_folder
from ledger.engines.duckdb import Asked, DuckEngine
from ledger.engines.every.folds import States
from ledger.engines.tables import position_effects

if TYPE_CHECKING:
    from ledger.book import Book

_changing = RLock()
_readings = 0
"""How many readings are under way: the last to end puts back what the first found."""
_usual = pa.default_memory_pool()


def every_state(book: Book, engine: DuckEngine, asked: Asked) -> Iterator[States]:
    """Give the states of all bikes with a live event, of one range of tags after another.

    Of a great book live events lie in a private folder meanwhile. A compaction may take files
    away: then they are read again. Raises BookDamaged where a file does not hold the events that
    belong in its place.
    """
    with _plain_memory():
        yield from _every_state(book, engine, asked)


@contextmanager
def _plain_memory() -> Iterator[None]:
    """Let Arrow take memory from the C library: two threads at once then do not hinder each other.

    On 2 cores every bike of ten million events takes a seventh less.
    """
    global _readings, _usual
    with _changing:
        if not _readings:
            _usual = pa.default_memory_pool()
            pa.set_memory_pool(pa.system_memory_pool())
        _readings += 1
    try:
        yield
    finally:
        with _changing:
            _readings -= 1
            if not _readings:
                pa.set_memory_pool(_usual)


def _every_state(book: Book, engine: DuckEngine, asked: Asked) -> Iterator[States]:
    words = book.vocabulary_known(asked.known_seq)
    joined = {tag: min(tags) for tag, tags in book.aliases(asked.known_seq).items()}

    def effects(named: frozenset[str]) -> pa.Table:
        return position_effects(words, named.difference(words.positions))

    def source() -> every.Source:
        return every.Source(engine.paths(), book.head.size, joined, effects)

    if book.head.size <= every.MOST_AT_ONCE:
        if found := book.while_read(lambda: every.states_of(source(), asked)):
            yield found
        return
    with private_folder() as folder:

        def laid() -> every.Laid:
            shutil.rmtree(folder / "laid", ignore_errors=True)
            (folder / "laid").mkdir()
            return every.laid_of(source(), asked, folder / "laid")

        ranges = book.while_read(laid)
        yield from filter(None, every.states_in(ranges, effects))
