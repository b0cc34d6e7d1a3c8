"""Very large books for timing: one real book told again and again, of other bikes each time.

`python -m tests.benchmarks.books FOLDER --events 10000000` writes one, and with `--shops 100` a
folder of so many, each of its own shop and bikes, some of them linked from shop to shop. Every
telling has its own tags, jobs, parts, riders and ids, and stands in a segment of its own; the text
in all but the first cannot be opened, since it is sealed for other ids. Hashes, roots and footers
are true, and of one base the same bytes come again.
"""

from __future__ import annotations

import argparse
import random
import shutil
import tempfile
from collections import deque
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from datetime import datetime, timedelta
from functools import partial
from hashlib import sha256
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path

import pyarrow as pa

from ledger.book import Book
from ledger.cli.demo import build
from ledger.storage.footer import CommitMark, Footer
from ledger.storage.listing import segment_name
from ledger.storage.merkle import Frontier
from ledger.storage.segment import LEVEL, encode_segment
from tests.benchmarks.telling import (
    MOST_IN_BOOK,
    MOST_TELLINGS,
    Telling,
    Told,
    numbered,
    other_tag,
    tellings_of,
)

LINKS = 20
"""Bikes of each shop that turn out to be one of the shop before."""
_AHEAD = 3
"""Tellings numbered and hashed, and not yet written: each holds some 80 MB where it is written."""


def write_book(
    folder: Path,
    events: int,
    base: Path | None = None,
    *,
    shop: str | None = None,
    level: int = LEVEL,
) -> Book:
    """Write a book of at least so many events into a new folder, in bounded memory.

    `base` is the book told again and again, as the demo names its jobs and riders; None for the
    demo itself. `level` is zstd's; a segment's own without it.
    """
    if base is None:
        with tempfile.TemporaryDirectory(dir=folder.parent) as made:
            build(Path("demo_events"), Path(made) / "demo")
            return write_book(folder, events, Path(made) / "demo", shop=shop, level=level)
    _write_all({folder: shop or Book.open(base).settings.shop}, events, base, level)
    return Book.open(folder)


def write_shops(
    folder: Path, shops: Sequence[str], events_each: int, base: Path, *, level: int = LEVEL
) -> list[Path]:
    """Write a book for each shop into a new folder, each of at least so many events.

    Every shop's bikes have tags of their own. Some of each shop, but for the first, are linked
    with bikes of the shop before, by a commit at the end. Gives the books' folders.
    """
    folder.mkdir(parents=True)
    books = {folder / shop: shop for shop in shops}
    first_shifts = _write_all(books, events_each, base, level)
    choose, tags = random.Random(1), sorted(Book.open(base).bikes())
    for before, after in pairwise(books):
        drafts = [
            {
                "kind": "bike_linked",
                "actor": "m1",
                "data": {
                    "first": {"bike": other_tag(tag, first_shifts[after])},
                    "second": {"shop": books[before], "bike": other_tag(tag, first_shifts[before])},
                },
            }
            for tag in choose.sample(tags, min(LINKS, len(tags)))
        ]
        at = Book.open(after).head.recorded_at + timedelta(seconds=1)
        Book.open(after, clock=partial(_same, at)).append(drafts)
    return list(books)


def _same(at: datetime) -> datetime:
    return at


def _write_all(books: dict[Path, str], events: int, base: Path, level: int) -> dict[Path, int]:
    """Write books by their shops; gives the shift of each one's first telling."""
    told = tellings_of(Book.open(base))
    first_shifts, shift = {}, 0
    at_work = ProcessPoolExecutor(1, get_context("spawn"), _take, (told,))
    with at_work, _Few(at_work) as writing:
        for folder, shop in books.items():
            _begin(folder, shop, base)
            first_shifts[folder] = shift
            frontier = Frontier()
            for telling in numbered(told, shop, events, shift):
                frontier, roots = _grown(told, telling, frontier)
                writing.hand(_write, folder / "events", telling, frontier, roots, level)
                shift += 1
            assert telling.number < MOST_IN_BOOK and shift <= MOST_TELLINGS, "too many tellings"
    return first_shifts


class _Few:
    """Work handed to a pool of processes, never much of it waiting."""

    def __init__(self, pool: ProcessPoolExecutor) -> None:
        self._pool, self._waiting = pool, deque[Future[None]]()

    def __enter__(self) -> _Few:
        return self

    def __exit__(self, *_: object) -> None:
        while self._waiting:
            self._waiting.popleft().result()

    def hand(self, work: Callable[..., None], *given: object) -> None:
        """Hand over a piece of work, when there is room."""
        if len(self._waiting) == _AHEAD:
            self._waiting.popleft().result()
        self._waiting.append(self._pool.submit(work, *given))


def _begin(folder: Path, shop: str, base: Path) -> None:
    (folder / "events").mkdir(parents=True)
    (folder / "photos").mkdir()
    shutil.copy(base / "riders.sqlite", folder / "riders.sqlite")
    named = Book.open(base).settings.shop
    text = (base / "book.toml").read_text(encoding="utf-8")
    text = text.replace(f'shop = "{named}"', f'shop = "{shop}"')
    (folder / "book.toml").write_text(text, encoding="utf-8")


def _grown(told: tuple[Told, Told], telling: Telling, frontier: Frontier) -> tuple[Frontier, bytes]:
    """Give the tree with a telling's events, and the root after each of its commits.

    What `Frontier` does leaf by leaf, in one loop: there are some 340,000 commits a million events.
    """
    one = told[min(telling.number, 1)]
    leaves = [sha256(b"\x00" + text).digest() for text in one.texts(telling).to_pylist()]
    size, nodes, roots, start = frontier.size, list(frontier.nodes), [], 0
    for end in one.ends:
        for node in leaves[start:end]:
            carry = size
            while carry & 1:
                node = sha256(b"\x01" + nodes.pop() + node).digest()
                carry >>= 1
            nodes.append(node)
            size += 1
        root = nodes[-1]
        for node in nodes[-2::-1]:
            root = sha256(b"\x01" + node + root).digest()
        roots.append(root)
        start = end
    grown = Frontier(size, tuple(nodes))
    assert grown.root() == root
    return grown, b"".join(roots)


_taken: list[Told] = []


def _take(told: tuple[Told, Told]) -> None:
    pa.set_cpu_count(1)
    _taken[:] = told


def _write(folder: Path, telling: Telling, frontier: Frontier, roots: bytes, level: int) -> None:
    """Write a telling's segment, in the process beside."""
    one = _taken[min(telling.number, 1)]
    stamps = one.recorded_at(telling).take(pa.array([end - 1 for end in one.ends])).to_pylist()
    marks = [
        CommitMark(
            telling.first_commit + place,
            telling.first_seq - 1 + end,
            roots[32 * place : 32 * place + 32].hex(),
            stamps[place],
        )
        for place, end in enumerate(one.ends)
    ]
    writer = sha256(f"{telling}".encode()).hexdigest()[:32]
    footer = Footer(tuple(marks), frontier, writer)
    table = one.table(telling, one.texts(telling))
    name = segment_name(footer.first, footer.last.commit)
    (folder / name).write_bytes(encode_segment(table, footer, level=level))


def main() -> None:
    """Write the book or books asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--events", type=int, default=10_000_000, help="of each book, at least")
    parser.add_argument("--base", type=Path, default=None, help="a demo book; else it is built")
    parser.add_argument("--shop", default=None, help="the shop's name; else the base's")
    parser.add_argument("--shops", type=int, default=None, help="so many books, in one folder")
    parser.add_argument("--level", type=int, default=LEVEL, help="zstd's; else a segment's own")
    asked = parser.parse_args()
    if asked.shops:
        names = [f"{asked.shop or 'shop'}-{number:03}" for number in range(1, asked.shops + 1)]
        write_shops(asked.folder, names, asked.events, asked.base, level=asked.level)
        print(f"{asked.shops} books in {asked.folder}")
        return
    book = write_book(asked.folder, asked.events, asked.base, shop=asked.shop, level=asked.level)
    print(f"{book.head.size:,} events in {asked.folder}")


if __name__ == "__main__":
    main()
