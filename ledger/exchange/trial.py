"""A throwaway copy of a book, in which the real rules say what an import would do."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ledger.book import Book


@contextmanager
def trial_copy(book: Book) -> Iterator[Book]:
    """Give a book that holds the same events by links to its files; it is gone afterwards.

    Nothing of the register or its keys is in it: new keys are made, and thrown away with it.
    """
    from ledger import settings
    from ledger.book import Book
    from ledger.riders import Riders

    with tempfile.TemporaryDirectory(prefix="lockring-dry-run-") as folder:
        trial = Path(folder) / "book"
        (trial / "events").mkdir(parents=True)
        for file in book.files():
            (trial / "events" / file.name).symlink_to(file.resolve())
        settings.write(trial / "book.toml", book.settings)
        Riders(trial / "riders.sqlite").make()
        yield Book.open(trial)
