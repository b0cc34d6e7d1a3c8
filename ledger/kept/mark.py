"""Of which book, and of how much of it, a kept file is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from ledger.errors import BookDamaged
from ledger.storage.files import footer_of
from ledger.storage.footer import CommitMark
from ledger.storage.listing import Cover, parse_name
from ledger.storage.local import LocalStore

if TYPE_CHECKING:
    from ledger.book import Book

_KEY = "lockring."


@dataclass(frozen=True, slots=True)
class Mark:
    """Where a book stood when something was made from it."""

    size: int
    commit: int
    root: str
    newest_us: int
    """When the last event occurred: microseconds since 1970."""

    def to_metadata(self) -> dict[str, str]:
        """Give it as texts under keys that start with `lockring.`."""
        return {f"{_KEY}{name}": str(getattr(self, name)) for name in self.__slots__}

    @classmethod
    def of_metadata(cls, texts: Mapping[bytes, bytes]) -> Mark:
        """Give what `to_metadata` wrote; KeyError or ValueError where it is not there."""
        size, commit, root, newest_us = (
            texts[f"{_KEY}{name}".encode()].decode() for name in cls.__slots__
        )
        return cls(int(size), int(commit), root, int(newest_us))


def is_of(mark: Mark, book: Book) -> bool:
    """Say whether a mark is of this very book as it is, or as it was."""
    head = book.head
    if mark.commit >= head.commit:
        return (mark.commit, mark.size, mark.root) == (head.commit, head.size, head.root)
    held = _said_of(book, mark.commit)
    return held is not None and (held.size, held.root) == (mark.size, mark.root)


def recorded_at(book: Book, commit: int) -> datetime | None:
    """Give when a commit was recorded; None where no file tells."""
    head = book.head
    if commit == head.commit:
        return head.recorded_at
    held = _said_of(book, commit)
    return None if held is None else held.recorded_at


def _said_of(book: Book, commit: int) -> CommitMark | None:
    """Give what the book's files say of an earlier commit; None where they do not."""
    cover = _covering(book, commit)
    try:
        marks = footer_of(LocalStore(book.path / "events"), cover.name).marks if cover else ()
        return marks[commit - cover.first] if cover else None
    except (OSError, IndexError, BookDamaged):
        return None


def files_after(book: Book, commit: int) -> list[str]:
    """Give the paths of the files that hold any later commit."""
    named = ((path, parse_name(path.name)) for path in book.files())
    return [str(path) for path, cover in named if cover is not None and cover.last > commit]


def _covering(book: Book, commit: int) -> Cover | None:
    covers = (parse_name(path.name) for path in book.files())
    return next((one for one in covers if one and one.first <= commit <= one.last), None)
