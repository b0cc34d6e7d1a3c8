"""Books of several shops for tests: small real ones, and lives that the rules accept."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import UUID

from ledger.book import Book
from ledger.events import Event, parse_event
from ledger.shops import Shops
from ledger.state import fold, live
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.view import BikeView
from ledger.vocabulary import Vocabulary
from tests.strategies import Life, event_id

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
Bike = tuple[str, str]


def draft(day: str, kind: str, bike: str | None = None, **data: Any) -> dict[str, Any]:
    """An entry at noon of a day; `job` and `actor` stand beside the data."""
    job, actor = data.pop("job", None), data.pop("actor", "m1")
    given = {"bike": bike, "job": job}
    told = {name: value for name, value in given.items() if value is not None}
    return {"kind": kind, "actor": actor, "occurred_at": f"{day}T12:00:00Z", "data": data, **told}


def shop_book(
    folder: Path, shop: str, drafts: Sequence[dict[str, Any]] = (), **settings: Any
) -> Book:
    """A real book in a folder of its shop's name, with entries in one commit."""
    book = Book.init(folder / shop, shop=shop, clock=lambda: NOW, **settings)
    if drafts:
        book.append(drafts, confirm_clock=True)
    return book


def of_shop(life: Life, shop: str, number: int) -> list[Event]:
    """A life as another shop recorded it: its events have ids of their own."""
    ids = {event.id: str(_moved(event.id, number)) for event in life.events}
    found = []
    for event in life.events:
        text = json.dumps(event.model_dump(mode="json", exclude_none=True))
        for old, new in ids.items():
            text = text.replace(old, new)
        found.append(parse_event({**json.loads(text), "shop": shop}))
    return found


def _moved(one: str, number: int) -> UUID:
    """Another id of version 7, some hours later."""
    return UUID(int=UUID(one).int + (number * 10_000_000 << 80))


def link(shop: str, seq: int, at: datetime, first: Bike, second: Bike) -> Event:
    """A stored link of two bikes."""
    ends = [{"shop": shop, "bike": bike} for shop, bike in (first, second)]
    raw = {
        "id": event_id(10**9 + 1000 * seq + sum(shop.encode())),
        "seq": seq, "shop": shop, "actor": "mia", "kind": "bike_linked", "schema_version": 1,
        "occurred_at": at, "recorded_at": at, "data": {"first": ends[0], "second": ends[1]},
    }  # fmt: skip
    return parse_event(raw)


def stored(folder: Path, shop: str, events: Sequence[Event]) -> Book:
    """A book that holds events as they are, three a commit."""
    Book.init(folder / shop, shop=shop)
    log = Log(LocalStore(folder / shop / "events"))
    for first in range(0, len(events), 3):
        log.commit(lambda head, first=first: events[first : first + 3])
    return Book.open(folder / shop)


def shops_of(books: Iterable[Book]) -> Shops:
    """Books as they are asked together."""
    return Shops({book.settings.shop: book for book in books})


def plain_groups(events: Iterable[Event]) -> dict[Bike, frozenset[Bike]]:
    """Which bikes live links make one, by walking from each until nothing is new."""
    pairs = [
        frozenset(
            (end.shop or event.shop, end.bike) for end in (event.data.first, event.data.second)
        )
        for event in events
        if event.kind == "bike_linked"
    ]
    found = {}
    for start in {bike for pair in pairs for bike in pair}:
        reached = {start}
        while wider := [pair for pair in pairs if pair & reached and not pair <= reached]:
            reached = reached.union(*wider)
        found[start] = frozenset(reached)
    return {bike: group for bike, group in found.items() if len(group) > 1}


def plain_fold(
    books: Mapping[str, Sequence[Event]],
    group: Iterable[Bike],
    asked: Bike,
    as_at: datetime,
    known: Mapping[str, int],
    words: Vocabulary,
) -> BikeView:
    """One bike by the plain fold over every book's events, merged: no SQL, no columns.

    Each shop's names are its own; live events are numbered anew in (occurred_at, shop, seq) order.
    """
    bikes = frozenset(group)
    merged = [
        event
        for shop, events in books.items()
        for event in live([one for one in events if (shop, one.bike) in bikes], as_at, known[shop])
    ]
    merged.sort(key=lambda event: (event.occurred_at, event.shop, event.seq))
    numbered = [_renamed(event, seq) for seq, event in enumerate(merged, 1)]
    return fold(
        numbered, shop=asked[0], bike=asked[1], as_at=as_at, known_seq=10**9, vocabulary=words
    )


def _renamed(event: Event, seq: int) -> Event:
    named = {
        name: f"{event.shop}/{value}"
        for name in ("rider", "keeper", "payer", "part")
        if (value := getattr(event.data, name, None)) is not None
    }
    job = None if event.job is None else f"{event.shop}/{event.job}"
    data = event.data.model_copy(update=named)
    return event.model_copy(update={"seq": seq, "job": job, "data": data})
