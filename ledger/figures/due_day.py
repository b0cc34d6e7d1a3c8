"""What is due within a season, kept of a great book for a day.

It follows from the fit of all wear and from the day: as long as both stand, so does the list, as at
the moment it was made. Whose bikes they are and what is on the bench is looked up each time.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from threading import RLock
from weakref import WeakKeyDictionary

from ledger.book import Book
from ledger.figures.due_rows import ROWS, Rows
from ledger.figures.wear import BookWear
from ledger.figures.worn import CODE, fit_mark, given_by
from ledger.kept.keep import fingerprint_of
from ledger.kept.mark import Mark
from ledger.kept.pieces import Unreadable, packed, unpacked
from ledger.kept.shelf import Held, Shelf
from ledger.storage.head import Head

FEWEST_EVENTS = 300_000
"""A smaller book's list is worked out each time."""
WITHIN_DAYS = 92
"""What is due within so many days is kept; who asks further ahead waits."""
_CODE = tuple(
    f"ledger.{name}"
    for name in ("figures.ages", "figures.calls", "figures.due_day", "figures.due_parts",
                 "figures.due_rows", "figures.wear", "figures.wear_now", "figures.wear_parts",
                 "figures.wear_shapes", "kept.pieces", "vocabulary.caution")
)  # fmt: skip
_known: WeakKeyDictionary[Book, tuple[str, Mark, Day]] = WeakKeyDictionary()
_making = RLock()
"""Who asks while another thread works it out waits for that."""


@dataclass(frozen=True)
class Day:
    """What is due, and as at when that was worked out."""

    as_at: datetime
    rows: Rows


@dataclass(frozen=True)
class _Kept:
    """What a day's list lies on the shelf as."""

    folder: str
    name: str = "due_parts"


def is_great(book: Book) -> bool:
    """Say whether a book is one whose list is kept."""
    return book.head.size >= FEWEST_EVENTS


def day_of(book: Book, wear: BookWear, within_days: int, make: Callable[[int], Day]) -> Day:
    """Give what is due now within some days and, kept, further on: as kept today, or made now.

    `make` works out what is due within some days as at the wear's own instant.
    """
    mark = fit_mark(book, wear.fit) if is_great(book) else None
    if mark is None or within_days > WITHIN_DAYS:
        return make(within_days)
    keep = _Kept(f"due_parts-{_fingerprint(book, wear.today)}")
    with _making:
        known = _known.get(book)
        if known is not None and known[:2] == (keep.folder, mark):
            return known[2]
        shelf = Shelf(book.path / "derived", keep)
        day = _found(shelf, mark)
        if day is None:
            day = make(WITHIN_DAYS)
            shelf.put(Held(mark, mark.size, packed(day)))
        _known[book] = keep.folder, mark, day
        return day


def day_found(book: Book, within_days: int) -> Day | None:
    """Give what is due now, where it is kept of the book as it stands; None where it is not.

    It follows from the book and the day: the fit need not be looked at.
    """
    head = book.head
    if not is_great(book) or within_days > WITHIN_DAYS:
        return None
    keep = _Kept(f"due_parts-{_fingerprint(book, book.settings.local(datetime.now(UTC)).date())}")
    with _making:
        known = _known.get(book)
        if known is not None and known[0] == keep.folder and _is_now(known[1], head):
            return known[2]
        for held in Shelf(book.path / "derived", keep).found(head.size, head.size):
            day = _read(held) if _is_now(held.mark, head) else None
            if day is not None:
                _known[book] = keep.folder, held.mark, day
                return day
    return None


def _is_now(mark: Mark, head: Head) -> bool:
    return (mark.size, mark.commit, mark.root) == (head.size, head.commit, head.root)


def _fingerprint(book: Book, today: date) -> str:
    given = (*given_by(book), today.isoformat(), str(WITHIN_DAYS))
    return fingerprint_of("due_parts", ("fitting_documents",), (*CODE, *_CODE), given)


def _found(shelf: Shelf, mark: Mark) -> Day | None:
    held = (one for one in shelf.found(mark.size, mark.size) if one.mark == mark)
    return next(filter(None, map(_read, held)), None)


def _read(held: Held) -> Day | None:
    with suppress(Unreadable):
        day = unpacked(held.table, (Day, Rows))
        if (
            isinstance(day, Day)
            and isinstance(day.rows, Rows)
            and day.rows.table.schema.equals(ROWS)
        ):
            return day
    return None
