"""Every bike's state asked of a book."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

import pyarrow as pa

from ledger.engines.duckdb import Asked, DuckEngine
from ledger.engines.every import COLUMNS, Source, apart_of, ranges_of, states_of
from ledger.engines.every.folds import States
from ledger.engines.every.pieces import Bikes
from ledger.engines.tables import position_effects

if TYPE_CHECKING:
    from ledger.book import Book


def every_state(book: Book, engine: DuckEngine, asked: Asked) -> Iterator[States]:
    """Give the states of all bikes with a live event, of one range of tags after another.

    A compaction may take files away meanwhile: what a range holds stays the same. Raises
    BookDamaged where a file does not hold the events that belong in its place.
    """
    words = book.vocabulary_known(asked.known_seq)
    joined = {tag: min(tags) for tag, tags in book.aliases(asked.known_seq).items()}

    def effects(named: frozenset[str]) -> pa.Table:
        return position_effects(words, named.difference(words.positions))

    def source() -> Source:
        return Source(
            paths=engine.paths(),
            size=book.head.size,
            joined=joined,
            events_of=lambda tags: engine.events_of(tags, COLUMNS),
            effects=effects,
        )

    ranges = book.while_read(lambda: ranges_of(source()))
    apart = book.while_read(lambda: apart_of(source())) if len(ranges) > 1 else None

    def states(bikes: Bikes) -> States:
        return states_of(source(), bikes, asked, apart)

    for bikes in ranges:
        if found := book.while_read(partial(states, bikes)):
            yield found
