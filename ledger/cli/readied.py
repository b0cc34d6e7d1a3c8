"""Getting ready what is kept beside a great book, so that its first question need not wait."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ledger.cli.output import progress

if TYPE_CHECKING:
    from ledger.book import Book


def ready(book: Book) -> None:
    """Make what a book's figures are read from, where it is not there yet; says that it does."""
    from ledger.kept import FEWEST_EVENTS, keep_ready

    if book.head.size < FEWEST_EVENTS:
        return
    from ledger.figures.kept_faults import OF_FAULTS

    keep_ready(book, OF_FAULTS, lambda: progress("Preparing the book's figures", is_long=True))
