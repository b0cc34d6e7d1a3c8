"""What a bench is read from: one bike's events and state, kept while the book does not move.

After a commit only its own events are read. Nothing here is told to anybody: `reading` tells.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cached_property
from threading import Lock
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

from ledger.bench.newer import events_after
from ledger.bench.on_bike import positions_on
from ledger.bench.walked import of_job
from ledger.errors import LedgerError
from ledger.facts import facts_of
from ledger.rules import BookFacts
from ledger.state import BikeState, live, state_after

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.events import Event
    from ledger.vocabulary import Vocabulary

MOST_KEPT = 64
"""So many bikes are held in memory for each book."""


class JobNotOpen(LedgerError):
    """A job that is closed, of another bike, or of none."""


@dataclass(frozen=True)
class Scene:
    """One bike as everything stored has it."""

    tag: str
    tags: frozenset[str]
    stored: tuple[Event, ...]
    """In seq order, strikes and struck events too."""
    facts: BookFacts
    shop: str
    book: Book = field(repr=False)

    @property
    def words(self) -> Vocabulary:
        """The words of the book."""
        return self.facts.vocabulary

    @cached_property
    def counted(self) -> list[Event]:
        """The events that count, by when they occurred."""
        return live(self.stored)

    @cached_property
    def state(self) -> BikeState:
        """The bike after all of them, as the rules see it."""
        return state_after(self.counted, self.shop, self.tag, self.words)

    @cached_property
    def on_bike(self) -> frozenset[str]:
        """The positions that exist on this bike; see `ledger.bench.on_bike`."""
        return positions_on(self.counted, self.state, self.words)

    def of_job(self, job: str | None) -> list[Event]:
        """Give the live events of a job, in the order they were recorded."""
        return of_job(self.stored, job)

    def opened(self, event: Event) -> dict[str, Any]:
        """Give an event's payload as plain JSON types, its text opened."""
        data: dict[str, Any] = self.book.reveal(event)["data"]
        return data

    def job_named(self, job: str | None) -> str | None:
        """Give the open job asked for, or the one opened last; raises JobNotOpen."""
        opened = [
            (one.opened_at, one.job)
            for one in self.state.jobs.values()
            if one.opened_at is not None and not one.is_closed
        ]
        if job is not None and job not in {name for _, name in opened}:
            raise JobNotOpen(f"Job {job} is not open on bike {self.tag}.")
        return job or max(opened, default=(None, None))[1]


@dataclass
class _Shelf:
    """The scenes of one book."""

    lock: Lock = field(default_factory=Lock)
    scenes: OrderedDict[str, tuple[int, Scene]] = field(default_factory=OrderedDict)
    """By tag: the commit they were read at, and the scene."""
    facts: BookFacts | None = None
    words: Vocabulary | None = None
    """The book's words when its facts were made: other ones with every event of the book itself."""


_shelves: WeakKeyDictionary[Book, _Shelf] = WeakKeyDictionary()
_shelves_lock = Lock()


def scene_of(book: Book, tag: str) -> Scene:
    """Give one bike as the book stands now; raises UnknownBike."""
    with _shelves_lock:
        shelf = _shelves.setdefault(book, _Shelf())
    with shelf.lock:
        # The commit first: what comes while this reads is read again next time, not missed.
        commit = book.head.commit
        scene = _current(book, tag, shelf, commit)
        shelf.scenes[tag] = (commit, scene)
        shelf.scenes.move_to_end(tag)
        while len(shelf.scenes) > MOST_KEPT:
            shelf.scenes.popitem(last=False)
    return scene


def _current(book: Book, tag: str, shelf: _Shelf, commit: int) -> Scene:
    facts, tags = _facts(book, shelf), book.aliases().get(tag, frozenset({tag}))
    at, held = shelf.scenes.get(tag, (0, None))
    if held is not None and held.tags == tags and held.facts is facts and at <= commit:
        new = events_after(book, at) if at < commit else []
        if new is not None:
            return _with(held, [event for event in new if event.bike in tags])
    book.require_bike(tag)
    return Scene(tag, tags, tuple(book.bike_events(tag)), facts, book.settings.shop, book)


def _with(held: Scene, new: list[Event]) -> Scene:
    if not new:
        return held
    known = {event.id for event in held.stored}
    added = tuple(event for event in new if event.id not in known)
    return replace(held, stored=(*held.stored, *added))


def _facts(book: Book, shelf: _Shelf) -> BookFacts:
    """Give the book's own facts, made anew when an event of the book itself was recorded."""
    words = book.vocabulary
    if shelf.facts is None or shelf.words is not words:
        now = datetime.now(UTC)
        shelf.facts, shelf.words = facts_of(book.book_events(), book.settings, now), words
    return shelf.facts
