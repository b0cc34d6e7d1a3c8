"""One bike's bench, read in one go: `bench_of`."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from ledger.bench.shapes import Bench
from ledger.figures.fault_shapes import BookingIn

if TYPE_CHECKING:
    from ledger.book import Book


def bench_of(
    book: Book, tag: str, actor: str, now: datetime | None = None, *, job: str | None = None
) -> Bench:
    """Give everything the page needs of one bike, as the book stands now.

    `actor` is who asks: their own entries and clock are told from others'. `job` is the open job
    to work on, where the bike has several (the one opened last else). Joined tags are one bike.
    Raises UnknownBike, and LedgerError for a job that is not open on it.
    """
    raise NotImplementedError


def came_back(book: Book, bench: Bench) -> BookingIn | None:
    """Give what came back on the bike before its job was opened, what was carried and advised.

    As the book stood when the job was opened, so it is worked out once and remembered (about
    0.2 s on a book of 67,000 events). None where no job is open.
    """
    raise NotImplementedError
