"""Figures kept of a whole book as it stood at a size: what no single bike's events tell.

A fit over all readings cannot be followed bike by bike: as soon as something more is recorded it is
that of an earlier book, and is made anew. It lies beside the kept tables, in the same form, and is
believed on the same terms.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from threading import RLock
from typing import TYPE_CHECKING, Any, Generic, TypeVar
from weakref import WeakKeyDictionary

import ledger.kept
from ledger.kept.keep import fingerprint_of
from ledger.kept.mark import Mark, is_of
from ledger.kept.pieces import Unreadable, packed, unpacked
from ledger.kept.reading import newest_us
from ledger.kept.shelf import Held, Shelf

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.engines.duckdb import Asked
    from ledger.storage.head import Head

Thing = TypeVar("Thing")

_MOST_HELD = 1 << 25
"""Bytes up to which figures that were made stay in memory as they were made."""


@dataclass(frozen=True)
class Whole(Generic[Thing]):
    """Figures over a whole book that are worth keeping: a dataclass, and what it is made by.

    They may depend on all the book holds, on what is `given` and on nothing else: not on the day.
    """

    name: str
    """In small letters: part of a folder's name."""
    shape: type[Thing]
    uses: tuple[str, ...]
    """The relations they are made from."""
    parts: tuple[type, ...] = ()
    """The dataclasses within, at any depth."""
    many: tuple[type, ...] = ()
    """Those of which there are so many that each is made when it is looked at, as `rows.Rows`."""
    code: tuple[str, ...] = ()
    """The modules that make them, by dotted name: when one changes, they are made anew."""
    given: tuple[str, ...] = ()
    """What else goes into them, as text."""

    @property
    def folder(self) -> str:
        """The name of its folder."""
        code = (*self.code, "ledger.kept.pieces", "ledger.kept.rows")
        return f"{self.name}-{fingerprint_of(self.name, self.uses, code, self.given)}"


@dataclass
class _Known:
    """What one process holds of one Whole of a book."""

    lock: RLock = field(default_factory=RLock)
    held: tuple[Mark, Any] | None = None


_known: WeakKeyDictionary[Book, dict[str, _Known]] = WeakKeyDictionary()
_known_lock = RLock()


def whole(book: Book, keep: Whole[Thing], asked: Asked, make: Callable[[], Thing]) -> Thing:
    """Give figures as at an instant, as known to a seq: as kept, or made now and kept.

    Neither read nor kept where `kept` would give None. `make` gives them as asked, whatever is
    recorded meanwhile. Who asks while another thread makes them waits for those.
    """
    head = book.head
    if not _is_kept_of(head.size, asked):
        return make()
    known = _of(book, keep)
    with known.lock:
        found = _current(book, keep, head)
        if found is None:
            newest = newest_us(book)
            if asked.known_seq > head.size or not _is_now(newest, asked):
                return make()
            mark = Mark(head.size, head.commit, head.root, newest)
            known.held = found = mark, make()
            table = packed(found[1])
            Shelf(book.path / "derived", keep).put(Held(mark, head.size, table))
            if table.nbytes > _MOST_HELD:
                # read in place from now on: what was just made takes several times the memory
                written = _read(book, keep, head.size, None)
                if written is not None and written[0] == mark:  # none, or an older one, where
                    known.held = found = written  # nothing could be written
        mark, thing = found
    return thing if _is_now(mark.newest_us, asked) else make()


def found_whole(book: Book, keep: Whole[Thing], asked: Asked) -> Thing | None:
    """Give what `whole` would without making anything; None where it would have to be made."""
    head = book.head
    found = _current(book, keep, head) if _is_kept_of(head.size, asked) else None
    return found[1] if found and _is_now(found[0].newest_us, asked) else None


def latest_whole(book: Book, keep: Whole[Thing]) -> tuple[Mark, Thing] | None:
    """Give the latest figures that are kept, with where the book stood then: now or before."""
    known, head = _of(book, keep), book.head
    with known.lock:
        held = known.held
        if held is None or held[0].size != head.size or not is_of(held[0], book):
            known.held = held = _read(book, keep, head.size, held)
    return held


def _is_kept_of(size: int, asked: Asked) -> bool:
    return size >= ledger.kept.FEWEST_EVENTS and asked.known_seq >= size


def _is_now(newest: int, asked: Asked) -> bool:
    since = asked.as_at - datetime(1970, 1, 1, tzinfo=UTC)
    return round(since.total_seconds() * 1_000_000) >= newest


def _of(book: Book, keep: Whole[Any]) -> _Known:
    with _known_lock:
        return _known.setdefault(book, {}).setdefault(keep.folder, _Known())


def _current(book: Book, keep: Whole[Thing], head: Head) -> tuple[Mark, Thing] | None:
    found = latest_whole(book, keep)
    return found if found is not None and found[0].size == head.size else None


def _read(
    book: Book, keep: Whole[Thing], most: int, held: tuple[Mark, Thing] | None
) -> tuple[Mark, Thing] | None:
    """Give the latest that is there, sound and of this book: in memory, or later in a file."""
    if held is not None and not is_of(held[0], book):
        held = None
    least = 0 if held is None else held[0].size + 1
    for found in Shelf(book.path / "derived", keep).found(most, least):
        if is_of(found.mark, book):
            with suppress(Unreadable):
                thing = unpacked(found.table, (keep.shape, *keep.parts), keep.many)
                if isinstance(thing, keep.shape):
                    return found.mark, thing
    return held
