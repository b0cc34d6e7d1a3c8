"""Finding a bike whose tag washed off: by anything anybody still knows of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ledger.bench.shapes import FoundBike

if TYPE_CHECKING:
    from ledger.book import Book


def look_for(book: Book, words: str, most: int = 20) -> list[FoundBike]:
    """Give the bikes of which every word is found in tag, make, model, kind, description or the
    rider's name; seen last first. Nothing typed gives the bikes seen last.

    A tag read off a dirty sticker is folded as tags are (O is 0, I and L are 1).
    """
    raise NotImplementedError
