"""Everything a book holds about one rider, for themselves: a JSON document, and their photos.

Of a bike that changed hands only their time is in it. Other people's words, names and ids are
not, nor are the shop's costs and the minutes of its people.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ledger.asking import Asker, told
from ledger.errors import BookDamaged, LedgerError
from ledger.events import payload_class, plain
from ledger.events.text import change_text
from ledger.events.types import format_moment
from ledger.exchange.opened import FORGOTTEN
from ledger.forgetting import Held, Tell, what_is_held
from ledger.naming import Time, masked, names, place_of, times_of
from ledger.photos import read_photo
from ledger.riders import BOOK_KEY
from ledger.state import in_order, live
from ledger.unsent import Unsent

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.events import Event

SOMEBODY = "(somebody else)"
"""Stands where another person is named."""
THEIR_WORDS = "(words about somebody else)"
"""Stands where text is sealed with another person's key."""
LEFT_OUT = (
    "Not in here: what is about other people, the shop's own costs, and how long its people worked."
)
_SIGHT = Asker("desk")
"""Sees prices that were named, and neither costs nor minutes."""
_ENDINGS = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}


@dataclass(frozen=True)
class RiderExport:
    """What is held about a rider: the document as plain JSON types, and photos by file name."""

    document: dict[str, Any]
    photos: Mapping[str, bytes]


def export_rider(
    book: Book, rider: str, *, now: datetime, tell: Tell = lambda done: None
) -> RiderExport:
    """Gather everything held about a rider; `tell` is told the events looked at.

    Raises UnknownRider.
    """
    held = what_is_held(book, rider, tell)
    times = {bike: times_of(book.bike_events(bike)) for bike in held.bikes}
    events = list(_events(book, held, times))
    photos = dict(_photos(book, events))
    document = {
        "made_at": format_moment(now),
        "shop": book.settings.name,
        "rider": rider,
        "register": _register(held),
        "bikes": [_bike(bike, times[bike], rider) for bike in held.bikes],
        "events": [_event(book, held, one) for one in events],
        "photos": sorted(photos),
        "half_typed": _half_typed(book, held),
        "copies_of_the_register": [
            {"place": one.place, "name": one.name, "expires_at": format_moment(one.expires_at)}
            for one in held.key_backups
        ],
        "left_out": LEFT_OUT,
    }
    return RiderExport(document, photos)


def write_rider(export: RiderExport, out: Path) -> list[Path]:
    """Write a folder (`rider.json`, `photos/`) or, for a name in .json, a file and its photos.

    Readable by their owner alone. Photos of FILE.json go to FILE-photos/. Gives what was
    written. Raises LedgerError where there is something of that name already.
    """
    is_file = out.suffix.lower() == ".json"
    folder = out.with_name(f"{out.stem}-photos") if is_file else out / "photos"
    for path in (out, folder):
        if path.exists():
            raise LedgerError(f"{path} is there already. Choose another name.")
    if not is_file:
        out.mkdir(mode=0o700, parents=True)
    document = json.dumps(export.document, ensure_ascii=False, indent=2) + "\n"
    written = [_private(out if is_file else out / "rider.json", document.encode())]
    if export.photos:
        folder.mkdir(mode=0o700)
        written += [_private(folder / name, content) for name, content in export.photos.items()]
    return written


def _private(path: Path, content: bytes) -> Path:
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(content)
    return path


# -- the parts of the document -----------------------------------------------------------------


def _register(held: Held) -> dict[str, Any] | None:
    """Give what the register says, consent with it; None where they are not in it."""
    if held.row is None:
        return None
    row = asdict(held.row)
    return {name: value for name, value in row.items() if name != "rider"}


def _bike(bike: str, times: Iterable[Time], rider: str) -> dict[str, Any]:
    return {
        "bike": bike,
        "times": [
            {
                "as": list(time.roles_of(rider)),
                "since": format_moment(time.since[0]),
                "until": time.until and format_moment(time.until[0]),
            }
            for time in times
            if time.roles_of(rider)
        ],
    }


@dataclass(frozen=True, slots=True)
class _Theirs:
    """One event of a rider's."""

    event: Event
    is_struck: bool
    keys: frozenset[str]
    """Of text and photos that are theirs to read in it."""


def _events(book: Book, held: Held, times: Mapping[str, list[Time]]) -> Iterator[_Theirs]:
    """Give every event of a rider's, by seq."""
    found: dict[int, _Theirs] = {}
    for bike in sorted({*held.bikes, *held.bikes_naming}):
        stored = book.bike_events(bike)
        kept = {event.id for event in live(stored)}
        whose = times.get(bike) or times_of(stored)
        for event in in_order(stored):
            is_in_time = _is_in_time(event, held.rider, whose)
            if is_in_time or names(event, held.rider) or held.keys & _keys_of(event):
                keys = held.keys | ({BOOK_KEY} if is_in_time else set())
                is_struck = event.id not in kept and event.kind != "event_struck"
                found[event.seq or 0] = _Theirs(event, is_struck, keys)
    yield from (found[seq] for seq in sorted(found))


def _is_in_time(event: Event, rider: str, times: list[Time]) -> bool:
    """Tell whether an event is of a bike while it was theirs, or before it was anybody else's."""
    for time in times:
        if time.has(place_of(event)):
            return bool(time.roles_of(rider))
    return bool(times) and bool(times[0].roles_of(rider))


def _keys_of(event: Event) -> set[str]:
    """Give the ids of the keys that an event's text is sealed with."""
    found: set[str] = set()

    def seen(field: str, text: Any) -> Any:
        if not isinstance(text, str):
            found.add(text["key"])
        return text

    change_text(payload_class(event.kind), plain(event)["data"], seen)
    return found


def _event(book: Book, held: Held, one: _Theirs) -> dict[str, Any]:
    """Give an event in the clear; of one that tells somebody's minutes, only that it was."""
    event = one.event

    def opened(field: str, text: Any) -> str:
        if isinstance(text, str):
            return text
        if text["key"] not in one.keys:
            return THEIR_WORDS
        return book.keys.open(text, event.id, field) or FORGOTTEN

    data = change_text(payload_class(event.kind), plain(event)["data"], opened)
    seen = told(_SIGHT, event.kind, event.actor, data)
    return {
        "seq": event.seq,
        "id": event.id,
        "kind": event.kind,
        "bike": event.bike,
        "job": event.job,
        "occurred_at": format_moment(event.occurred_at),
        "recorded_at": event.recorded_at and format_moment(event.recorded_at),
        "is_struck": one.is_struck,
        "data": {} if seen is None else masked(dict(seen), held.rider, SOMEBODY),
    }


def _photos(book: Book, events: Iterable[_Theirs]) -> Iterator[tuple[str, bytes]]:
    """Give the photos that are theirs to open, by name; one that is missing is left out."""
    for one in events:
        event = one.event
        if event.kind != "photo_attached" or event.data.key not in one.keys:
            continue
        try:
            content = read_photo(book, event.data.photo, event.data.key)
        except BookDamaged:
            continue
        if content is not None:
            yield f"{event.data.photo[:16]}.{_ENDINGS[event.data.media_type]}", content


def _half_typed(book: Book, held: Held) -> list[dict[str, Any]]:
    if not held.drafts:
        return []
    unsent = Unsent(book.path / "private.sqlite", book.keys)
    theirs = {form for key in (*held.keys, BOOK_KEY) for form in unsent.sealed_with(key)}
    return [
        {
            "bike": one.key.bike,
            "job": one.key.job,
            "step": one.key.step,
            "typed_at": format_moment(one.typed_at),
            "values": dict(one.values),
        }
        for one in unsent.all()
        if one.key in theirs.intersection(held.drafts)
    ]
