"""The rows over one great book: written or found, its peers made beside it, then measured.

Peers are files of the same events. What the disk has no room for is left out, and said.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from ledger.book import Book
from tests.benchmarks import (
    every_bike,
    monthly,
    one_bike,
    opening,
    page_queries,
    peer_eventsourcing,
    peer_sqlite,
    proofs,
)
from tests.benchmarks.alone import linked, timed, warmed
from tests.benchmarks.asked import bikes_asked
from tests.benchmarks.books import write_book
from tests.benchmarks.measure import Row, table

BYTES_AN_EVENT = 130
"""What a book's file takes at most, about."""
SPARE_BYTES = 8_000_000_000
"""Never filled by a benchmark."""
MOST_IN_SQLITE = 20_000_000
"""Events beyond which writing them into SQLite takes hours."""


@dataclass
class Great:
    """A great book with its peers, in a folder that is thrown away."""

    book: Path
    folder: Path
    size: int
    peers: dict[str, Path] = field(default_factory=dict)
    left_out: list[str] = field(default_factory=list)
    """What was not measured, and why, a sentence each."""


def has_room(folder: Path, wanted: int) -> bool:
    """Tell whether the disk of a folder has so many bytes, and some to spare."""
    return shutil.disk_usage(folder).free - SPARE_BYTES > wanted


def great_book(
    folder: Path, events: int, book_at: Path | None, without: frozenset[str] = frozenset()
) -> Great | str:
    """Give a book of so many events with its peers; or a sentence, where there is no room.

    Peers named in `without` are left out. `book_at` is a book that was written before: its files
    are linked to, and it stays as it is.
    """
    folder.mkdir(parents=True, exist_ok=True)
    if book_at is not None:
        book = linked(book_at, folder / "book")
    elif has_room(folder, events * BYTES_AN_EVENT):
        book = write_book(folder / "book", events).path
    else:
        free = shutil.disk_usage(folder).free / 1e9
        need = (events * BYTES_AN_EVENT + SPARE_BYTES) / 1e9
        return f"{events:,} events need {need:,.0f} GB of disk, and {free:,.0f} GB are free."
    opened = Book.open(book)
    _, taken = timed(opened.pack)
    print(f"each bike laid together in {taken.wall:,.0f} s", file=sys.stderr, flush=True)
    great = Great(book, folder, opened.head.size)
    for peer, add in {"eventsourcing": _add_eventsourcing, "sqlite": _add_sqlite}.items():
        if peer in without:
            great.left_out.append(f"{peer} at {great.size:,} events: not asked for.")
        else:
            add(great)
    return great


def _add_eventsourcing(great: Great) -> None:
    file = great.folder / "eventsourcing.sqlite"
    events = one_bike.events_by_bike(great.book, bikes_asked(great.book))
    peer_eventsourcing.build(events, file)
    one_bike.keep_versions(events, file)
    great.peers["eventsourcing"] = file


def _add_sqlite(great: Great) -> None:
    need = great.size * peer_sqlite.BYTES_AN_EVENT
    if great.size > MOST_IN_SQLITE or not has_room(great.folder, need):
        great.left_out.append(
            f"SQLite at {great.size:,} events: its file would take {need / 1e9:,.0f} GB and hours."
        )
        return
    file = great.folder / "events.sqlite"
    _, taken = timed(lambda: peer_sqlite.build(great.book, file))
    print(f"indexed SQLite written in {taken.wall:,.0f} s", file=sys.stderr, flush=True)
    great.peers["sqlite"] = file


def measure(great: Great, only: frozenset[str] = frozenset()) -> list[Row]:
    """Give every row of a great book, or of some groups of them, and tell each as it stands."""
    book, folder, peers = great.book, great.folder, great.peers
    size = warmed(book)
    groups: dict[str, Callable[[], list[Row]]] = {
        "one bike": lambda: one_bike.measure(book, peers, folder),
        "every bike": lambda: every_bike.measure(book, peers, folder),
        "monthly": lambda: monthly.measure(book, peers, folder),
        "pages": lambda: page_queries.measure(book, folder),
        "opening": lambda: opening.measure(book, folder, peers.get("sqlite")),
        "proofs": lambda: proofs.of_book(book),
    }
    rows = [Row("events in the book", f"{great.size:,}", f"{size / 1e9:.2f} GB")]
    for name, group in groups.items():
        if only and name not in only:
            continue
        found, taken = timed(group)
        print(f"{name}: {taken.wall:,.0f} s", file=sys.stderr, flush=True)
        print(table(found), file=sys.stderr, flush=True)
        rows += found
    return rows
