"""Forgetting a rider: row and key are destroyed, and with them every word that is about them.

In this order, so that a crash leaves nothing untold: what is forgotten is noted, half-typed forms
go, the backups are told (`when_noted`), then the key goes, then the row, then photos. Running it
again finishes what was begun.
"""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Callable, Iterable, Mapping
from contextlib import closing
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ledger.events import parse_event
from ledger.key_backups import Forgotten, ForgottenKey, KeyBackup, KeyBackups
from ledger.naming import names, times_of
from ledger.riders import BOOK_KEY, UnknownRider
from ledger.storage.address import is_address
from ledger.unsent import FormKey, Unsent

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.events import Event
    from ledger.riders import Rider

Tell = Callable[[int], None]


@dataclass(frozen=True)
class Held:
    """Everything a book holds about a rider that forgetting destroys, or leaves as noise."""

    rider: str
    row: Rider | None
    key: str | None
    """The id of their key; None where nothing was sealed for them, or it is destroyed."""
    forgotten_at: datetime | None
    """When they were forgotten, where they were."""
    count_texts: int = 0
    """Events with text that was sealed for them."""
    bikes: tuple[str, ...] = ()
    """Tags of the bikes they ride, keep or pay for, or did."""
    bikes_naming: tuple[str, ...] = ()
    """Tags of every bike of which an event names them, or is sealed for them."""
    keys: frozenset[str] = frozenset()
    """The ids of every key they have, or had."""
    photos: tuple[str, ...] = ()
    """Files of their bikes' photos that no other rider's event names, and that are there."""
    photos_under_book_key: tuple[str, ...] = ()
    """Those of them from before anybody was named: a copy elsewhere can still be opened."""
    drafts: tuple[FormKey, ...] = ()
    key_backups: tuple[KeyBackup, ...] = ()
    """The copies of the register that still have them; once they are forgotten, that may."""

    @property
    def is_unfinished(self) -> bool:
        """A forgetting was begun, and row or key are there still."""
        return self.forgotten_at is not None and bool(self.row or self.key)

    @property
    def is_done(self) -> bool:
        """They were forgotten, and nothing of it is left to do."""
        return self.forgotten_at is not None and not (self.row or self.key or self.drafts)


@dataclass(frozen=True)
class ForgetDone:
    """What was destroyed, and where copies still are."""

    held: Held
    photos_removed: tuple[str, ...]
    forgotten_at: datetime


def what_is_held(book: Book, rider: str, tell: Tell = lambda done: None) -> Held:
    """Find everything about a rider; `tell` is told the events looked at.

    Raises UnknownRider where nothing in the book is, or ever was, about them.
    """
    row, key = book.riders.get(rider), _key_of(book, rider)
    at = _forgotten_at(book, rider, row)
    keys = _every_key(book, rider, key)
    found = _Found(rider, keys)
    for done, (_, _, canonical) in enumerate(book.rows(), start=1):
        found.take(canonical)
        if done % 1_000 == 0:
            tell(done)
    is_there = found.is_named or book.riders.is_damaged(rider)
    if row is None and key is None and at is None and not is_there:
        raise UnknownRider(
            f"There is no rider {rider}: not in the register, and no event names them. "
            "See who there is: lockring riders list."
        )
    aliases = book.aliases()
    found.bikes |= {tag for bike in found.bikes for tag in aliases.get(bike, ())}
    bikes = tuple(sorted(found.bikes))
    photos, under_book_key = _photos(book, rider, keys, found)
    return Held(
        rider=rider,
        row=row,
        key=key,
        forgotten_at=at,
        count_texts=found.count_texts,
        bikes=bikes,
        bikes_naming=tuple(sorted(found.bikes_naming)),
        keys=keys,
        photos=photos,
        photos_under_book_key=under_book_key,
        drafts=_drafts(book, rider, row, keys),
        key_backups=_copies(book, rider, at),
    )


def forget(
    book: Book,
    held: Held,
    *,
    photos: bool = False,
    at: datetime | None = None,
    when_noted: Callable[[], None] = lambda: None,
) -> ForgetDone:
    """Destroy a rider's row and key, and what is kept in words beside the events.

    `photos`: their bikes' photos are removed too; else they stay, as noise. `when_noted` is called
    once it is noted who is forgotten, before key and row go. Raises WriteRefused
    where an object store does not answer. What was done before it raised stays done.
    """
    rider, path = held.rider, book.riders.path
    now = held.forgotten_at or at or datetime.now(UTC)
    if held.key is not None or held.forgotten_at is None:
        Forgotten(path).add([ForgottenKey(held.key, rider, now)])
    if held.drafts:
        _unsent(book).drop_all(held.drafts)
    when_noted()
    destroyed = book.keys.destroy(rider)
    if destroyed is not None and destroyed != held.key:
        Forgotten(path).add([ForgottenKey(destroyed, rider, now)])
        when_noted()
    book.riders.remove(rider)
    leave_no_trace(path)
    removed = held.photos if photos else ()
    for name in removed:
        _remove_photo(book, name)
    return ForgetDone(held, removed, now)


def unfinished(book: Book) -> list[str]:
    """Give the riders whose forgetting was begun and not finished: their row or key is there."""
    found = []
    for one in Forgotten(book.riders.path).all():
        if one.rider is None or one.rider in found:
            continue
        row = book.riders.get(one.rider)
        if _forgotten_at(book, one.rider, row) is not None and (row or _key_of(book, one.rider)):
            found.append(one.rider)
    return found


def leave_no_trace(path: Path) -> None:
    """Write a SQLite file anew from what is in it, and empty its log, if it has one.

    `secure_delete` has blanked what was deleted; a page that was rearranged before may hold a
    copy, and this leaves none.
    """
    with closing(sqlite3.connect(path, timeout=30, isolation_level=None)) as connection:
        connection.execute("pragma secure_delete = on")
        connection.execute("pragma wal_checkpoint(truncate)")
        connection.execute("vacuum")
        connection.execute("pragma wal_checkpoint(truncate)")


# -- what the register says --------------------------------------------------------------------


def _ask(book: Book, query: str, *values: str) -> Any:
    with closing(sqlite3.connect(book.riders.path, timeout=30)) as connection:
        row = connection.execute(query, values).fetchone()
    return None if row is None else row[0]


def _key_of(book: Book, rider: str) -> str | None:
    book.keys.follow()
    return _text(_ask(book, "select key from keys where rider = ?", rider))


def _copies(book: Book, rider: str, at: datetime | None) -> tuple[KeyBackup, ...]:
    """Give the copies that have a rider's row or key; of one who is forgotten, that may have."""
    backups = KeyBackups(book.riders.path)
    # When a copy was made is told to the second, rounded up.
    before = [one for one in backups.all() if at and one.made_at <= at + timedelta(seconds=1)]
    return tuple(dict.fromkeys([*backups.holding(rider), *before]))


def _every_key(book: Book, rider: str, key: str | None) -> frozenset[str]:
    """Give the ids of every key a rider has, or had before they were forgotten."""
    noted = {one.key for one in Forgotten(book.riders.path).all() if one.rider == rider}
    return frozenset(one for one in (key, *noted) if one is not None)


def _forgotten_at(book: Book, rider: str, row: Rider | None) -> datetime | None:
    """Give when a rider was forgotten; None where they never were, or were entered again since."""
    noted = [one for one in Forgotten(book.riders.path).all() if one.rider == rider]
    if not noted:
        return None
    added_at = _text(_ask(book, "select added_at from riders where rider = ?", rider))
    if row is not None and added_at is not None:
        noted = [one for one in noted if one.at >= datetime.fromisoformat(added_at)]
    return noted[-1].at if noted else None


def _text(value: Any) -> str | None:
    return None if value is None else str(value)


# -- what the events say -----------------------------------------------------------------------


@dataclass
class _Found:
    """What one pass over the events has found so far; their bytes are parsed where they match."""

    rider: str
    keys: frozenset[str]
    count_texts: int = 0
    is_named: bool = False
    bikes: set[str] = field(default_factory=set)
    bikes_naming: set[str] = field(default_factory=set)
    photos: dict[str, set[tuple[str, str]]] = field(default_factory=dict)
    """Every photo: the bikes whose events name it, with the key they name."""

    def take(self, canonical: bytes) -> None:
        is_photo = b'"photo_attached"' in canonical
        is_sealed = any(f'"{key}"'.encode() in canonical for key in self.keys)
        is_naming = json.dumps(self.rider, ensure_ascii=False).encode() in canonical
        if not (is_photo or is_sealed or is_naming):
            return
        event = parse_event(json.loads(canonical))
        self.count_texts += is_sealed and b'"sealed"' in canonical
        is_named = is_naming and names(event, self.rider)
        if event.bike is not None and (is_sealed or is_named):
            self.bikes_naming.add(event.bike)
        if event.kind == "photo_attached" and event.bike is not None:
            self.photos.setdefault(event.data.photo, set()).add((event.bike, event.data.key))
        if is_named:
            self.is_named = True
            if event.kind == "rider_changed" and event.bike is not None:
                self.bikes.add(event.bike)


def _photos(
    book: Book, rider: str, keys: frozenset[str], found: _Found
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Give the photos of a rider's bikes that nobody else's event names, and that are there.

    Beside them those under the book's own key, taken before anybody was named.
    """
    first = {bike for bike in found.bikes if _is_first_named(book.bike_events(bike), rider)}
    there = _photos_there(book)
    theirs = [
        photo
        for photo, named in sorted(found.photos.items())
        if photo in there
        and all(key in keys or (key == BOOK_KEY and bike in first) for bike, key in named)
    ]
    under_book_key = [
        photo for photo in theirs if any(key == BOOK_KEY for _, key in found.photos[photo])
    ]
    return tuple(theirs), tuple(under_book_key)


def _photos_there(book: Book) -> set[str]:
    here = {path.name for path in (book.path / "photos").glob("*")}
    return here | {one.rpartition("/")[2] for one in _far_photos(book)}


def _is_first_named(events: Iterable[Event], rider: str) -> bool:
    """Tell whether nobody was named as a bike's rider before this one."""
    times = times_of(events)
    return bool(times) and rider == times[0].rider


def _far_photos(book: Book) -> list[str]:
    if not is_address(book.home.address):
        return []
    # The client of object stores is loaded for those who have one.
    from ledger.storage.objects import objects_at

    return [one.name for one in objects_at(book.home.address).all("photos")]


def _remove_photo(book: Book, name: str) -> None:
    """Remove a photo's file where the book is, and on this machine."""
    if is_address(book.home.address):
        from ledger.storage.objects import objects_at

        objects_at(book.home.address).remove(f"photos/{name}")
    (book.path / "photos" / name).unlink(missing_ok=True)


# -- half-typed forms --------------------------------------------------------------------------


def _unsent(book: Book) -> Unsent:
    return Unsent(book.path / "private.sqlite", book.keys)


def _drafts(book: Book, rider: str, row: Rider | None, keys: Iterable[str]) -> tuple[FormKey, ...]:
    """Give the forms sealed for a rider, and those in which they are named or may be."""
    if not (book.path / "private.sqlite").exists():
        return ()
    unsent = _unsent(book)
    keyed = [form for key in keys for form in unsent.sealed_with(key)]
    said = [rider, *filter(None, (row.name, row.phone, row.email))] if row is not None else [rider]
    named = [one.key for one in unsent.all() if _says(one.values, said)]
    return tuple(dict.fromkeys([*keyed, *named]))


def _says(values: Mapping[str, Any], said: Iterable[str]) -> bool:
    """Tell whether a form holds any of these words, as a whole and however it is written."""
    text = "\n".join(_words_in(dict(values))).casefold()
    return any(re.search(rf"(?<![\w-]){re.escape(one.casefold())}(?![\w-])", text) for one in said)


def _words_in(value: Any) -> Iterable[str]:
    if isinstance(value, str):
        return [value]
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return [word for one in inner for word in _words_in(one)]
