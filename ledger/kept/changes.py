"""What happened to a book since something was made from it: which bikes must be looked at anew."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.kept.mark import Mark, files_after
from ledger.kept.own_events import OwnEvents

if TYPE_CHECKING:
    from ledger.book import Book

_COLUMNS = ("seq", "bike", "kind", "occurred_at")
_JOINING = ("bike_linked", "event_struck")


@dataclass(frozen=True, slots=True)
class Changes:
    """The bikes of the events after a mark, and how far the book has come."""

    tags: frozenset[str]
    """Every tag, now or before, of every bike that something was recorded of."""
    newest_us: int
    """When the last event occurred, those before the mark too: microseconds since 1970."""


def changes_since(book: Book, mark: Mark, size: int, own: OwnEvents) -> Changes:
    """Give what the events after a mark, up to a size, touch; `own` are the book's at that size."""
    new = _events(book, mark, size)
    tags = frozenset(pc.unique(new["bike"]).to_pylist()) - {None}
    of_book = new.filter(pc.is_null(new["bike"]))
    before, now = own.aliases(mark.size), own.aliases(size)
    if pc.any(pc.is_in(of_book["kind"], pa.array(_JOINING))).as_py():
        either = before.keys() | now.keys()
        tags |= {tag for tag in either if before.get(tag) != now.get(tag)}
    alone: frozenset[str] = frozenset()
    groups = (joined.get(tag, alone) for tag in tags for joined in (before, now))
    return Changes(tags.union(*groups), max(mark.newest_us, _latest(new)))


def _events(book: Book, mark: Mark, size: int) -> pa.Table:
    tables = [
        pq.read_table(path, columns=list(_COLUMNS)) for path in files_after(book, mark.commit)
    ]
    found = pa.concat_tables(tables) if tables else book.bike_columns((), _COLUMNS)
    return found.filter((pc.field("seq") > mark.size) & (pc.field("seq") <= size))


def _latest(events: pa.Table) -> int:
    return pc.max(events["occurred_at"].cast(pa.int64())).as_py() or 0
