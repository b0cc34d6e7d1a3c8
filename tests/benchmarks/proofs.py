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
from tests.benchmarks.measure import Row

_TIMES = 7


def _texts(book: Book) -> Iterator[list[bytes]]:
    for path in book.files():
        yield pq.read_table(path, columns=["canonical"])["canonical"].to_pylist()


def _bare(book: Book) -> float:
    """Give how long it takes to read every event's text as it is stored and hash it."""
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


def of_book(path: Path) -> list[Row]:
    """Give the figures of a book; what is kept beside it is made anew."""
    book = Book.open(path)
    size, bare = book.head.size, _bare(book)
    beside = f"every event's stored text read and hashed: {bare:.1f} s"
    shutil.rmtree(path / "derived", ignore_errors=True)
    rebuilt = _a_receipt(path, size // 3)
    choose = random.Random(5)
    kept = statistics.median(_a_receipt(path, choose.randint(1, size)) for _ in range(_TIMES))
    return [
        Row(
            "receipt of an event, every hash made anew",
            f"{rebuilt:.1f} s",
            beside,
            f"{rebuilt / bare:.1f}×",
        ),
        Row(
            "receipt of an event, with the hashes kept",
            f"{kept * 1e3:.0f} ms",
            beside,
            f"{kept / bare:.3f}×",
        ),
    ]


def files(path: Path) -> Row:
    """Give what it takes to verify every file of a book."""
    size = Book.open(path).head.size
    start = time.perf_counter()
    assert check_files(path).problems == []
    taken = time.perf_counter() - start
    return Row(
        "verify: hashes, roots, columns, statistics",
        f"{taken:.1f} s, {size / taken:,.0f} events a second",
        "",
    )


def rules(path: Path) -> Row:
    """Give what every rule takes; a book told again and again breaks those of clocks."""
    size = Book.open(path).head.size
    start = time.perf_counter()
    assert check_rules(path) == []
    taken = time.perf_counter() - start
    figure = f"{taken:.1f} s, {size / taken:,.0f} events a second"
    return Row(f"verify: every rule again, over the demo's {size:,} events", figure, "")
