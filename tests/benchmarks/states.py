"""One bike and every bike as at a date, beside bare reads of the same columns."""

from __future__ import annotations

import random
import statistics
import time
from pathlib import Path

import duckdb

from demo_events.generate import write
from demo_events.spool import Plan
from ledger.book import Book
from ledger.exchange.own import import_own
from ledger.queries import bike_view, bike_views
from ledger.state import fold
from tests.benchmarks.measure import Row, median_seconds


def _book(folder: Path, count_events: int) -> tuple[Book, float]:
    events = folder / "demo"
    write(Plan.of_events(count_events, seed=7), events)
    book = Book.init(folder / "book", shop="saltmarrow", time_zone="Europe/Amsterdam")
    start = time.perf_counter()
    import_own(book, events / "events.parquet")
    return book, time.perf_counter() - start


def measure(folder: Path, count_events: int) -> list[Row]:
    """Give the figures over a book of about this many events; results are checked equal first."""
    folder.mkdir(parents=True)
    book, building = _book(folder, count_events)
    size = book.head.size
    choose = random.Random(3)
    tags = choose.sample(book.bikes(), 40)
    for tag in tags[:10]:
        view = bike_view(book, tag)
        assert view == fold(
            book.bike_events(tag),
            shop=view.shop,
            bike=tag,
            as_at=view.as_at,
            known_seq=view.as_known,
            vocabulary=book.vocabulary,
        )
    files = [str(path) for path in book.files()]
    one = "select * exclude (canonical) from read_parquet($files) where bike = $bike"
    every = (
        "select bike, count(*), max(occurred_at), max(value) from read_parquet($files) group by 1"
    )
    connection = duckdb.connect()
    ours, bare = [], []
    for tag in tags:
        start = time.perf_counter()
        bike_view(book, tag)
        ours.append(time.perf_counter() - start)
        start = time.perf_counter()
        connection.execute(one, {"files": files, "bike": tag}).fetchall()
        bare.append(time.perf_counter() - start)
    mine, theirs = statistics.median(ours), statistics.median(bare)
    all_mine = median_seconds(lambda: sum(1 for _ in bike_views(book)), 3)
    all_bare = median_seconds(lambda: connection.execute(every, {"files": files}).fetchall(), 3)
    disk = sum(path.stat().st_size for path in book.files()) / size
    return [
        Row(
            f"replay of an export of {size:,} events into a book, every rule",
            f"{building:.0f} s, {size / building:,.0f} events a second",
            f"{disk:.0f} bytes an event on disk",
        ),
        Row(
            f"one bike's state as at now, {size:,} events, warm",
            f"{mine * 1e3:.1f} ms",
            f"bare DuckDB read of that bike's rows: {theirs * 1e3:.1f} ms",
            f"{mine / theirs:.1f}×",
        ),
        Row(
            f"every bike's state as at now, {size:,} events",
            f"{all_mine:.2f} s",
            f"bare DuckDB scan and group by bike: {all_bare:.2f} s",
            f"{all_mine / all_bare:.1f}×",
        ),
    ]
