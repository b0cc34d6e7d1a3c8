"""As of which commit the great figures of a book are shown: of a great book not of the very last.

How every part wears is fitted over all parts at once. In a shop of a million events that takes
longer than anybody waits, and something is recorded every minute; so the last fit stands for a
while, and the pages say as of when. Bikes, jobs, clocks and money are never behind.
"""

from __future__ import annotations

import time
from datetime import UTC, datetime
from threading import Lock

from streamlit.delta_generator import DeltaGenerator

from dashboard.markup import text
from dashboard.words import Words
from ledger.book import Book

GREAT_EVENTS = 300_000
STANDS_SECONDS = 900.0
_stood: dict[str, tuple[int, float, datetime]] = {}
_lock = Lock()


def commit_shown(book: Book, now: float | None = None) -> int:
    """Give the commit as of which wear, what is due and chains are shown.

    Of a book of fewer than GREAT_EVENTS the last; of a greater one that of the last time they were
    worked out, unless that was STANDS_SECONDS ago. `now` is in seconds of any steady clock.
    """
    head, path = book.head, str(book.path)
    if head.size < GREAT_EVENTS:
        return head.commit
    at = time.monotonic() if now is None else now
    with _lock:
        commit, since, _ = _stood.get(path, (-1, 0.0, None))
        if commit < 0 or (commit != head.commit and at - since >= STANDS_SECONDS):
            commit = head.commit
            _stood[path] = commit, at, datetime.now(UTC)
    return commit


def note(book: Book, words: Words) -> str:
    """Give as of when such figures stand, where something was recorded since; else nothing."""
    if commit_shown(book) == book.head.commit:
        return ""
    stood_at = words.formats.time(_stood[str(book.path)][2])
    said = f"As the book stood at {stood_at}; in a great book, told anew every quarter hour."
    return f'<p class="lk-note">{text(said)}</p>'


def tell(where: DeltaGenerator, said: str) -> None:
    """Put a note where something waited, or nothing."""
    if said:
        where.html(said)
    else:
        where.empty()
