"""As of which commit the great figures of a book are shown: of a great book not of the very last.

How every part wears is fitted over all parts at once. In a shop of a million events that takes
longer than anybody waits, and something is recorded every minute; so the last fit stands for a
while, and the pages say as of when. It is told anew beside the pages: nobody waits for that. Bikes,
jobs, clocks and money are never behind.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from threading import RLock, Thread
from typing import Literal

from streamlit.delta_generator import DeltaGenerator

from dashboard.markup import text
from dashboard.words import Words
from ledger.book import Book
from ledger.figures.ahead import BookTables
from ledger.figures.chain_keep import BookChains, book_chains, last_chains
from ledger.figures.due import due_ready
from ledger.figures.worn import Worn, last_stood, worn_of
from ledger.kept.mark import recorded_at

Sort = Literal["wear", "chains"]
SORTS: tuple[Sort, Sort] = ("wear", "chains")
LOG = logging.getLogger(__name__)
GREAT_EVENTS = 300_000
STANDS_SECONDS = 900.0
LONGEST_BEHIND = timedelta(days=1)
"""Figures kept from further back than this never stand: whoever asks first waits for new ones."""


@dataclass(frozen=True)
class Standing:
    """What stands of one book and sort: of which commit, and since when."""

    commit: int
    book_at: datetime
    """When that commit was the last."""
    since: float
    """In seconds of a steady clock, when it began to stand; one found older than the book is taken
    to have stood its time."""
    figures: Worn | BookChains | None = None
    """None where whoever asks first works them out."""


@dataclass
class _Stands:
    lock: RLock = field(default_factory=RLock)
    by_sort: dict[tuple[str, Sort], Standing] = field(default_factory=dict)
    telling: dict[str, Thread] = field(default_factory=dict)
    """By book: what tells its figures anew now."""


_stands = _Stands()


def commit_shown(book: Book, now: float | None = None, sort: Sort = "wear") -> int:
    """Give the commit as of which wear and what is due, or chains, are shown.

    Of a book of fewer than GREAT_EVENTS the last; of a greater one that of the last figures that
    are kept. Those that are older than the book and stood for STANDS_SECONDS are told anew beside,
    and stand until that is done. `now` is in seconds of any steady clock.
    """
    head = book.head
    if head.size < GREAT_EVENTS:
        return head.commit
    at, key = time.monotonic() if now is None else now, (str(book.path), sort)
    with _stands.lock:
        standing = _stands.by_sort.get(key)
        if standing is None:
            standing = _stands.by_sort[key] = _first(book, sort, at)
        if standing.commit != head.commit and at - standing.since >= STANDS_SECONDS:
            begin_anew(book, at)
    return standing.commit


def shown(book: Book, commit: int, sort: Sort) -> Worn | BookChains | None:
    """Give the figures that stand as of a commit, or None: they are to be worked out."""
    with _stands.lock:
        standing = _stands.by_sort.get((str(book.path), sort))
    return standing.figures if standing is not None and standing.commit == commit else None


def begin_anew(book: Book, now: float | None = None) -> Thread:
    """Begin to tell a book's great figures anew, unless that is under way; gives what does it."""
    at, path = time.monotonic() if now is None else now, str(book.path)
    with _stands.lock:
        under_way = _stands.telling.get(path)
        if under_way is None:
            under_way = Thread(target=_tell_anew, args=(book, at), name="figures", daemon=True)
            _stands.telling[path] = under_way
            under_way.start()
        return under_way


def note(book: Book, words: Words, sort: Sort = "wear") -> str:
    """Give as of when such figures stand, where something was recorded since; else nothing."""
    if commit_shown(book, sort=sort) == book.head.commit:
        return ""
    with _stands.lock:
        book_at = _stands.by_sort[str(book.path), sort].book_at
        is_coming = str(book.path) in _stands.telling
    is_today = words.formats.local(book_at).date() == words.formats.local(datetime.now(UTC)).date()
    stood_at = words.formats.time(book_at) if is_today else words.formats.moment(book_at)
    when = "being told anew now" if is_coming else "in a great book, told anew every quarter hour"
    said = f"As the book stood at {stood_at}; {when}."
    return f'<p class="lk-note">{text(said)}</p>'


def tell(where: DeltaGenerator, said: str) -> None:
    """Put a note where something waited, or nothing."""
    if said:
        where.html(said)
    else:
        where.empty()


def _first(book: Book, sort: Sort, at: float) -> Standing:
    """Give what is kept from before, told anew at once; else the book as it is, with no figures."""
    found, head, now = _kept(book, sort), book.head, datetime.now(UTC)
    if found is None:
        return Standing(head.commit, now, at)
    commit, figures = found
    if commit == head.commit:
        return Standing(commit, now, at, figures)
    book_at = recorded_at(book, commit)
    if book_at is None or head.recorded_at is None or head.recorded_at - book_at > LONGEST_BEHIND:
        return Standing(head.commit, now, at)
    return Standing(commit, book_at, at - STANDS_SECONDS, figures)


def _kept(book: Book, sort: Sort) -> tuple[int, Worn | BookChains] | None:
    if sort == "chains":
        return last_chains(book)
    stood = last_stood(book)
    return stood and (stood.commit, stood.worn)


def _tell_anew(book: Book, at: float) -> None:
    path = str(book.path)
    try:
        for sort in SORTS:
            _put(book, sort, at)
    except Exception:
        # what stood goes on standing, and the pages say since when
        LOG.exception("The figures could not be told anew")
        with _stands.lock:
            for key, one in _of(path).items():
                _stands.by_sort[key] = replace(one, since=at)
    finally:
        with _stands.lock:
            _stands.telling.pop(path, None)


def _put(book: Book, sort: Sort, at: float) -> None:
    head, ahead = book.head, BookTables(book)
    figures = worn_of(book, ahead) if sort == "wear" else book_chains(book, ahead)
    if sort == "wear":
        due_ready(book)
    found = Standing(head.commit, datetime.now(UTC), at, figures)
    with _stands.lock:
        _stands.by_sort[str(book.path), sort] = found


def _of(path: str) -> Mapping[tuple[str, Sort], Standing]:
    return {key: one for key, one in _stands.by_sort.items() if key[0] == path}
