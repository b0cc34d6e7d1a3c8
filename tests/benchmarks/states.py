"""An export of the demo's events read back into an empty book, with every rule."""

from __future__ import annotations

import time
from pathlib import Path

from demo_events.generate import write
from demo_events.spool import Plan
from ledger.book import Book
from ledger.exchange.own import import_own
from tests.benchmarks.measure import Row


def measure(folder: Path, count_events: int) -> list[Row]:
    """Give how long about so many events take."""
    events = folder / "demo"
    write(Plan.of_events(count_events, seed=7), events)
    book = Book.init(folder / "book", shop="saltmarrow", time_zone="Europe/Amsterdam")
    start = time.perf_counter()
    import_own(book, events / "events.parquet")
    building, size = time.perf_counter() - start, book.head.size
    disk = sum(path.stat().st_size for path in book.files()) / size
    return [
        Row(
            f"replay of an export of {size:,} events into a book, every rule",
            f"{building:.0f} s, {size / building:,.0f} events a second",
            f"{disk:.0f} bytes an event on disk",
        )
    ]
