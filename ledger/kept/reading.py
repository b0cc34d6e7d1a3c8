"""Relations of a book as they are now, of every bike or of some, for what is kept of them."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger import sql
from ledger.engines.duckdb import COLUMNS, Asked
from ledger.engines.tables import position_effects
from ledger.kept.keep import END_OF_TIME, Read
from ledger.queries import engine_of, whole_table

if TYPE_CHECKING:
    from ledger.book import Book


def of_all(book: Book, known_seq: int, as_at: datetime = END_OF_TIME) -> Read:
    """Give what reads relations of the whole book; joined tags are under the first of them."""
    return Read(lambda relation: whole_table(book, relation, as_at, known_seq), is_whole=True)


def of_some(
    book: Book,
    events: pa.Table,
    known_seq: int,
    relations: Sequence[str],
    as_at: datetime = END_OF_TIME,
) -> Read:
    """Give relations of some bikes, read together; `events` are `events_of` all their tags."""
    tables = {}
    if any("position_effects" in sql.relation(one).uses for one in sql.needed(*relations)):
        words = book.vocabulary_known(known_seq)
        named = frozenset(pc.unique(events["position"]).to_pylist()) - {None}
        tables["position_effects"] = position_effects(words, named.difference(words.positions))
    asked = Asked(as_at, known_seq)
    found = engine_of(book).one_bike_tables(relations, asked, events, tables)
    return Read(found.__getitem__, is_whole=False)


def events_of(book: Book, tags: Collection[str], aliases: Mapping[str, frozenset[str]]) -> pa.Table:
    """Give the stored events of some tags, joined ones under the first of their bike.

    `aliases` are all tags of each joined bike, by tag.
    """
    return _under_first(engine_of(book).events_of(tags, [*COLUMNS, "lines", "canonical"]), aliases)


def _under_first(events: pa.Table, aliases: Mapping[str, frozenset[str]]) -> pa.Table:
    """Give events of joined tags under the first of them."""
    tags = events["bike"].combine_chunks().dictionary_encode()
    first = [min(aliases.get(tag, (tag,))) for tag in tags.dictionary.to_pylist()]
    place = events.schema.get_field_index("bike")
    return events.set_column(place, "bike", pa.array(first, pa.string()).take(tags.indices))


def newest_us(book: Book) -> int:
    """Give when a book's last event occurred: microseconds since 1970; 0 of an empty book."""
    newest = [_latest(pq.read_table(path, columns=["occurred_at"])) for path in book.files()]
    return max(newest, default=0)


def _latest(events: pa.Table) -> int:
    return int(np.max(events["occurred_at"].cast(pa.int64()), initial=0))
