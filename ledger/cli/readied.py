"""Getting ready what is kept beside a great book, so that its first question need not wait."""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import TYPE_CHECKING

from ledger.cli.output import progress

if TYPE_CHECKING:
    from collections.abc import Mapping

    from ledger.book import Book
    from ledger.engines.duckdb import Asked
    from ledger.shops import Shops


def ready(book: Book) -> None:
    """Make all that a book's pages are read from, where it is not there yet; says that it does."""
    from ledger.kept import FEWEST_EVENTS, keep_ready

    if book.head.size < FEWEST_EVENTS:
        return
    from ledger.bench.finding import OF_FINDING
    from ledger.clocks import OF_CLOCKS
    from ledger.figures.kept_faults import OF_FAULTS
    from ledger.figures.kept_jobs import jobs_ready

    keep_ready(book, (*OF_FAULTS, *OF_CLOCKS, *OF_FINDING), _telling)
    jobs_ready(book, _telling)
    _wear_ready(book)
    book.pack()


def _wear_ready(book: Book) -> None:
    """Fit how everything wears, and work out its chains, unless that is kept."""
    from ledger.figures.ahead import BookTables
    from ledger.figures.chain_keep import book_chains
    from ledger.figures.due import due_ready
    from ledger.figures.worn import is_worn_kept, worn_of

    ahead = BookTables(book)
    if not is_worn_kept(book, ahead):
        with progress("Working out how everything wears", is_long=True):
            worn_of(book, ahead)
            book_chains(book, ahead)
            due_ready(book)


def faults_ready(book: Book) -> None:
    """Make what the front of its faults is read from, where it is not there yet; says so."""
    from ledger.kept import FEWEST_EVENTS, keep_ready

    if book.head.size < FEWEST_EVENTS:
        return
    from ledger.figures.kept_faults import OF_FAULTS

    keep_ready(book, OF_FAULTS, _telling)


def minutes_ready(book: Book, known_seq: int | None) -> None:
    """Make what time and earning are read from, where it is not there yet; says so.

    Of a book as it was known before nothing is kept.
    """
    from ledger.kept import FEWEST_EVENTS

    size = book.head.size
    if size < FEWEST_EVENTS or (known_seq is not None and known_seq < size):
        return
    from ledger.figures.kept_jobs import jobs_ready

    jobs_ready(book, _telling)


def parts_ready(shops: Shops) -> None:
    """Make what parts are found by in several books, where it is not there yet; says so."""
    from ledger.kept import keep_ready
    from ledger.shops.part_moves import OF_FITTED_WHERE

    for shop in shops.books:
        # One after the other: a terminal has one bar.
        shops.each(lambda book: keep_ready(book, OF_FITTED_WHERE, _telling), of=[shop])


def compared_ready(shops: Shops, asked: Mapping[str, Asked]) -> None:
    """Make what several books are compared by, where it is not there yet; says so."""

    def made(book: Book) -> None:
        minutes_ready(book, asked[book.settings.shop].known_seq)
        faults_ready(book)

    for shop in asked:
        shops.each(made, of=[shop])


def _telling() -> AbstractContextManager[object]:
    return progress("Preparing the book's figures", is_long=True)
