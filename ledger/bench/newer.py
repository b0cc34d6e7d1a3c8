"""The events of a book's newest commits, read without looking at the rest of it."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import pyarrow.parquet as pq

from ledger.events import parse_event
from ledger.kept.mark import files_after
from ledger.storage.listing import parse_name

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.events import Event

MOST_FILES = 60
"""After more commits than this everything is read anew."""


def events_after(book: Book, commit: int, most_files: int = MOST_FILES) -> list[Event] | None:
    """Give the events of every commit after one, in seq order.

    None where they are too many to read one by one, or stand in a file with older ones.
    """
    paths = files_after(book, commit)
    covers = [parse_name(path.rpartition("/")[2]) for path in paths]
    if len(paths) > most_files or any(one is None or one.first <= commit for one in covers):
        return None
    found = []
    for path in paths:
        with pq.ParquetFile(path) as file:
            found += file.read(["canonical"], use_threads=False)["canonical"].to_pylist()
    events = [parse_event(json.loads(text)) for text in found]
    return sorted(events, key=lambda event: event.seq or 0)
