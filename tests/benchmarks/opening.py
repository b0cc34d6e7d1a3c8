"""How much a book takes on disk, how long it takes to open, and to follow somebody's new commit."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

from tests.benchmarks.alone import TIMES, alone, files_of, median, seconds, tell, timed
from tests.benchmarks.measure import Row, peak_mb

_COMMITS = 25


def _noted(tag: str, number: int) -> dict[str, Any]:
    data = {"position": "chain", "text": f"waxed again, {number}"}
    return {"kind": "noted", "bike": tag, "actor": "m1", "data": data}


def follow(path: str, tag: str) -> None:
    """Append commits with one book and look with another; both have been used before."""
    from ledger.book import Book
    from ledger.queries import bike_view

    writing, reading = Book.open(path), Book.open(path)
    used, heads, views, appends = bike_view(reading, tag).events_used, [], [], []
    size = reading.head.size
    for number in range(_COMMITS + 1):
        receipt, append = timed(
            lambda n=number: writing.append([_noted(tag, n)], confirm_clock=True)
        )
        head, seen = timed(lambda: reading.head)
        view, looked = timed(lambda: bike_view(reading, tag))
        assert head.size == size + number + 1
        assert view.events_used == used + number + 1
        appends.append(append.wall)
        heads.append(seen.wall)
        views.append(looked.wall)
        del receipt
    tell(heads=heads[1:], views=views[1:], appends=appends[1:], first=appends[0], peak=peak_mb())


def opened(path: str, _: str) -> None:
    """Open a book as a command does, and tell how many events it has."""
    from ledger.book import Book

    start = time.perf_counter()
    size = Book.open(path).head.size
    tell(wall=time.perf_counter() - start, size=size, peak=peak_mb())


def measure(path: Path, folder: Path, sqlite: Path | None) -> list[Row]:
    """Give the rows of a book, which gets some commits more."""
    from ledger.book import Book

    book = Book.open(path)
    size, tag = book.head.size, book.bikes()[0]
    on_disk = sum(Path(file).stat().st_size for file in files_of(path))
    beside = ""
    if sqlite is not None:
        beside = f"indexed SQLite: {sqlite.stat().st_size / size:.0f} bytes an event"
    runs = [alone("opening", "opened", path, tag) for _ in range(TIMES)]
    assert {one["size"] for one in runs} == {size}
    told = alone("opening", "follow", path, tag)
    derived = path / "derived"
    kept = sum(one.stat().st_size for one in derived.rglob("*") if one.is_file())
    return [
        Row("size on disk, caches apart", f"{on_disk / size:.0f} bytes an event", beside),
        Row("size of what is kept beside", f"{kept / size:.0f} bytes an event", ""),
        Row(
            "opening the book, new process",
            seconds(median([one["wall"] for one in runs])),
            f"peak {runs[0]['peak']:,.0f} MB",
        ),
        Row(
            "a commit of one event to such a book",
            seconds(median(told["appends"])),
            f"first of a process: {seconds(told['first'])}",
        ),
        Row("following somebody's commit: the new head", seconds(median(told["heads"])), ""),
        Row(
            "following somebody's commit: the bike as it is now",
            seconds(median(told["views"])),
            f"peak {told['peak']:,.0f} MB",
        ),
    ]


if __name__ == "__main__":
    {"follow": follow, "opened": opened}[sys.argv[1]](sys.argv[2], sys.argv[3])
