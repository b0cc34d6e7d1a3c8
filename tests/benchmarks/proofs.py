"""Receipts of a great book, with and without the hashes kept beside it; and verify."""

from __future__ import annotations

import random
import shutil
import statistics
import time
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path

import pyarrow.parquet as pq

from ledger.book import Book
from ledger.proofs import Receipts, check
from ledger.proofs.verify import check_files, check_rules
from tests.benchmarks.books import write_book
from tests.benchmarks.measure import Row

_TIMES = 7


def _texts(book: Book) -> Iterator[list[bytes]]:
    for path in book.files():
        yield pq.read_table(path, columns=["canonical"])["canonical"].to_pylist()


def _bare(book: Book) -> float:
    """Give how long it takes to read every event's bytes and hash them, in no order."""
    start = time.perf_counter()
    for texts in _texts(book):
        for text in texts:
            sha256(text).digest()
    return time.perf_counter() - start


def _a_receipt(path: Path, seq: int) -> float:
    start = time.perf_counter()
    receipt = Receipts(Book.open(path)).of_event(seq)
    taken = time.perf_counter() - start
    assert check(receipt.to_json()) == []
    return taken


def of_book(path: Path, *, is_verified: bool = True) -> list[Row]:
    """Give the figures of a book; what is kept beside it is made anew."""
    book = Book.open(path)
    size = book.head.size
    bare = _bare(book)
    shutil.rmtree(path / "derived", ignore_errors=True)
    rebuilt = _a_receipt(path, size // 3)
    choose = random.Random(5)
    kept = statistics.median(_a_receipt(path, choose.randint(1, size)) for _ in range(_TIMES))
    rows = [
        Row(
            f"receipt of an event among {size:,}, every hash made anew",
            f"{rebuilt:.1f} s",
            f"every event's bytes read and hashed: {bare:.1f} s",
            f"{rebuilt / bare:.1f}×",
        ),
        Row(
            f"receipt of an event among {size:,}, with the hashes kept",
            f"{kept * 1e3:.0f} ms",
            f"every event's bytes read and hashed: {bare:.1f} s",
            f"{kept / bare:.3f}×",
        ),
    ]
    return [*rows, *_verified(path, size, bare)] if is_verified else rows


def _verified(path: Path, size: int, bare: float) -> list[Row]:
    start = time.perf_counter()
    assert check_files(path).problems == []
    files = time.perf_counter() - start
    start = time.perf_counter()
    assert check_rules(path) == []
    rules = time.perf_counter() - start
    return [
        Row(
            f"verify of {size:,} events: hashes, roots, columns, statistics",
            f"{files:.0f} s, {size / files:,.0f} events a second",
            f"every event's bytes read and hashed: {bare:.1f} s",
            f"{files / bare:.0f}×",
        ),
        Row(f"verify of {size:,} events: every rule again", f"{rules:.0f} s", ""),
    ]


def measure(folder: Path, count_events: int) -> list[Row]:
    """Give the figures over a book of at least so many events."""
    folder.mkdir(parents=True)
    write_book(folder / "book", count_events)
    return of_book(folder / "book")
