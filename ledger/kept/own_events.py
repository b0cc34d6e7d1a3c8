"""The events of the book itself, kept: its terms and links, without looking through every file.

A great book has few of them, strewn over all its files. What is kept of them only grows.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.events import Event, parse_event
from ledger.facts import joined_tags, words_of
from ledger.kept.mark import files_after
from ledger.state import live
from ledger.storage.envelope import AROUND, whole
from ledger.vocabulary import Vocabulary

if TYPE_CHECKING:
    from ledger.book import Book

Tags = frozenset[str]
NO_BIKE = ""
"""Stands for the bike of what names none."""
SCHEMA = pa.schema(
    [("bike", pa.string()), ("seq", pa.int64()), ("kind", pa.string()), ("canonical", pa.binary())]
)
_READ = ["bike", "seq", "kind", "canonical"]


@dataclass(frozen=True)
class OwnEvents:
    """The terms, links and strikes among a book's own events: what its words and joined tags
    follow from."""

    table: pa.Table
    """Rows of SCHEMA."""
    shop: str

    @cached_property
    def terms(self) -> Sequence[Event]:
        """Terms and strikes, by seq."""
        return self._events("terms_set", "event_struck")

    @cached_property
    def gauges(self) -> Sequence[Event]:
        """Registrations of gauges and strikes, by seq."""
        return self._events("gauge_registered", "event_struck")

    def vocabulary(self, known_seq: int) -> Vocabulary:
        """Give the vocabulary as the book knew it at a seq."""
        return words_of(live(self.terms, None, known_seq), self.terms)

    def aliases(self, known_seq: int) -> Mapping[str, Tags]:
        """Give, for each tag that was joined to others, all tags of that one bike."""
        return joined_tags(self.links, self.shop, known_seq)

    @cached_property
    def links(self) -> Sequence[Event]:
        """Links and strikes, by seq."""
        return self._events("bike_linked", "event_struck")

    def _events(self, *kinds: str) -> list[Event]:
        rows = self.table.filter(pc.is_in(self.table["kind"], pa.array(kinds))).sort_by("seq")
        return [parse_event(json.loads(text)) for text in rows["canonical"].to_pylist()]


def read_after(book: Book, commit: int, size: int, most: int) -> pa.Table:
    """Give rows of SCHEMA of the events of no bike with seq above `size`, up to `most`."""
    tables = [_read(path) for path in files_after(book, commit)]
    found = pa.concat_tables([SCHEMA.empty_table(), *tables])
    return found.filter((pc.field("seq") > size) & (pc.field("seq") <= most))


def _read(path: str) -> pa.Table:
    names = list(dict.fromkeys([*_READ, *AROUND]))
    table = whole(pq.read_table(path, columns=names, filters=pc.field("bike").is_null()))
    bike = pa.array([NO_BIKE] * len(table), pa.string())
    return table.select(_READ).set_column(0, "bike", bike).cast(SCHEMA)
