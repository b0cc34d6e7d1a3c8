"""Which bikes an import has met, and what sits on each at the time of the row being read."""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import count
from typing import TYPE_CHECKING

from ledger.events import Event
from ledger.exchange.ids import digest, same_digest, tag_from, uuid7
from ledger.state import live

if TYPE_CHECKING:
    from ledger.book import Book

Change = tuple[datetime, str, str | None]
"""When which part (None: nothing) came to sit at a position."""
_NOTHING: Mapping[str, str] = {}
_FAR = datetime(2200, 1, 1, tzinfo=UTC)


@dataclass(slots=True)
class BikeSeen:
    """One bike as the import has followed it."""

    is_registered: bool
    fitted: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    """Position -> part."""
    ahead: tuple[Change, ...] = ()
    """What the book says was fitted or taken off, latest first, not yet passed."""

    jobs: frozenset[str] = frozenset()
    """Jobs that were opened."""

    def pass_to(self, moment: datetime) -> None:
        """Take in what the book says happened up to an instant."""
        while self.ahead and self.ahead[-1][0] <= moment:
            _, position, part = self.ahead[-1]
            self.ahead = self.ahead[:-1]
            self.now_fitted(position, part)

    def now_fitted(self, position: str, part: str | None) -> None:
        """From now on this part, or nothing, sits at a position."""
        others = {at: there for at, there in self.fitted.items() if at != position}
        self.fitted = others if part is None else {**others, position: part}


class BikesSeen:
    """Every bike met; what a batch changed can be taken back until the batch is recorded."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._shop = book.settings.shop
        self._in_book = frozenset(book.bikes())
        self._seen: dict[str, BikeSeen] = {}
        self._keys: dict[bytes, str] = {}
        self._owners: dict[str, bytes] = {}
        self._before: dict[str, BikeSeen | None] = {}

    def keep(self) -> None:
        """What was changed since the last `keep` is recorded."""
        self._before.clear()

    def take_back(self) -> None:
        """Undo everything since the last `keep`."""
        for tag, before in self._before.items():
            if before is None:
                del self._seen[tag]
            else:
                self._seen[tag] = before
        self._before.clear()

    def bike(self, tag: str, moment: datetime) -> BikeSeen:
        """Give what is known of a bike at an instant; changes to it are part of the batch."""
        if tag not in self._before:
            before = self._seen.get(tag)
            self._before[tag] = copy(before) if before else None
        if tag not in self._seen:
            self._seen[tag] = self._from_book(tag)
        found = self._seen[tag]
        found.pass_to(moment)
        return found

    def _from_book(self, tag: str) -> BikeSeen:
        if tag not in self._in_book:
            return BikeSeen(is_registered=False)
        events = live(self._book.bike_events(tag), _FAR, self._book.head.size)
        changes = [change for event in events for change in _changes(event)]
        opened = (event.job for event in events if event.kind == "job_opened")
        jobs = frozenset(job for job in opened if job)
        return BikeSeen(is_registered=True, ahead=tuple(changes[::-1]), jobs=jobs)

    def tag_for(self, key: str) -> str:
        """Give the tag of the bike that a key tells: always the same for the same key.

        Where another bike has the tag already, the next one is tried.
        """
        own = registration_digest(self._shop, key)
        if own in self._keys:
            return self._keys[own]
        for attempt in count():
            tag = tag_from(self._shop, key, attempt)
            if self._owners.get(tag, own) == own and self._is_free_or_own(tag, own):
                self._keys[own] = tag
                self._owners[tag] = own
                return tag
        raise AssertionError("there are more tags than bikes")

    def _is_free_or_own(self, tag: str, own: bytes) -> bool:
        if tag not in self._in_book:
            return True
        mark = uuid7(_FAR, own)
        return any(
            event.kind == "bike_registered" and same_digest(event.id, mark)
            for event in self._book.bike_events(tag)
        )


def registration_digest(shop: str, key: str) -> bytes:
    """Give what the id of a bike's registration is made from."""
    return digest(shop, "bike", key)


def _changes(event: Event) -> list[Change]:
    if event.kind == "part_fitted":
        return [(event.occurred_at, event.data.position, event.data.part)]
    if event.kind == "part_removed":
        return [(event.occurred_at, event.data.position, None)]
    return []
