"""Copies of the register, with the riders and the keys, apart from the events and for a time only.

A copy is one SQLite file, `register-<shop>-<made>-<expires>.sqlite`: its name alone says when it
goes. What was forgotten is listed beside the events, in `forgotten.json`, by ids that mean nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, NamedTuple

from ledger.errors import LedgerError, WrongUse
from ledger.events.types import format_moment
from ledger.key_backups import ForgottenKey, KeyBackup, KeyBackups
from ledger.storage.objects import Objects, objects_at

FORGOTTEN = "forgotten.json"
USUAL_EXPIRY = timedelta(days=90)
_FORMAT = 1
_STAMP = "%Y%m%dT%H%M%SZ"
_NAME = re.compile(r"register-([a-z0-9-]+)-(\d{8}T\d{6}Z)-(\d{8}T\d{6}Z)\.sqlite")
_SPAN = re.compile(r"([1-9][0-9]{0,3}) ?([dwmy])")
_DAYS = {"d": 1, "w": 7, "m": 30, "y": 365}
_LAST = (
    "no newer copy stands there that is whole, and the last one stays. It goes with a backup that "
    "keeps a new copy there (--keys-to), or delete it by hand."
)
_ABOUT = "create table copy_of (shop text not null, begins text, made_at text not null) strict"


class BadCopy(LedgerError):
    """A copy of the register, or the list of what is forgotten, cannot be read."""


class Expired(NamedTuple):
    """A copy past its time: taken away, or why it could not be."""

    backup: KeyBackup
    left_because: str | None = None


def span_of(text: str) -> timedelta:
    """Give how long a copy is kept: `90d`, `12w`, `3m` (30 days each), `1y`; raises WrongUse."""
    match = _SPAN.fullmatch(text.strip().lower())
    if match is None:
        raise WrongUse(f"{text!r} is no time to keep a copy. Write one such as 90d, 12w or 1y.")
    return timedelta(days=int(match[1]) * _DAYS[match[2]])


def copy_register(
    register: Path, place: Objects, shop: str, begins: str | None, now: datetime, keep: timedelta
) -> KeyBackup:
    """Keep a copy of a register at a place; nobody but its owner may read it there, in a folder.

    It is noted in the register first. Raises what the place does; then nothing is noted.
    """
    made_at = now.replace(microsecond=0) + timedelta(seconds=1 if now.microsecond else 0)
    name = f"register-{shop}-{made_at:{_STAMP}}-{made_at + keep:{_STAMP}}.sqlite"
    made = KeyBackup(place.address, name, made_at, made_at + keep)
    noted = KeyBackups(register)
    noted.note(made)
    try:
        content = _copied(register, (shop, begins, format_moment(now)))
        with _only_for_its_owner():
            place.put(name, content)
    except BaseException:
        noted.drop(made.place, name)
        raise
    return made


def _copied(register: Path, about: tuple[str, str | None, str]) -> bytes:
    with (
        closing(sqlite3.connect(register, timeout=30)) as source,
        closing(sqlite3.connect(":memory:")) as copy,
    ):
        source.backup(copy)
        copy.execute(_ABOUT)
        copy.execute("insert into copy_of values (?, ?, ?)", about)
        copy.commit()
        return copy.serialize()


@contextmanager
def _only_for_its_owner() -> Iterator[None]:
    # The mode must be right from the first byte on, not only once the file is there.
    before = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(before)


def copies_at(place: Objects, shop: str) -> list[KeyBackup]:
    """Give the copies of a shop's register at a place, oldest first, as their names tell."""
    found = []
    for one in place.all():
        match = _NAME.fullmatch(one.name)
        if match is not None and match[1] == shop:
            made_at, expires_at = (_stamped(match[group]) for group in (2, 3))
            found.append(KeyBackup(place.address, one.name, made_at, expires_at))
    return sorted(found, key=lambda copy: (copy.made_at, copy.name))


def _stamped(text: str) -> datetime:
    try:
        return datetime.strptime(text, _STAMP).replace(tzinfo=UTC)
    except ValueError:
        return datetime.max.replace(tzinfo=UTC)


def remove_expired(
    register: Path, book: tuple[str, str | None], now: datetime, place: Objects | None
) -> list[Expired]:
    """Take away the copies past their time: at a place, and wherever the register knows of some.

    `book` is its shop and the root of its first commit. A copy goes only where a newer one stands
    beside it that was read back and is whole: the last of a place stays. One in a place that does
    not answer, or is empty (a disk that is not plugged in), stays noted.
    """
    noted = KeyBackups(register)
    done: list[Expired] = []
    places = {place.address} if place is not None else set()
    places |= {copy.place for copy in noted.all() if copy.expires_at <= now}
    for address in sorted(places):
        known = [copy for copy in noted.all() if copy.place == address and copy.expires_at <= now]
        try:
            done += _remove_at(objects_at(address), noted, book, now, known)
        except (LedgerError, OSError) as error:
            left = {copy.name for copy in noted.all() if copy.place == address}
            done += [Expired(copy, str(error)) for copy in known if copy.name in left]
    return done


def _remove_at(
    place: Objects, noted: KeyBackups, book: tuple[str, str | None], now: datetime,
    known: Sequence[KeyBackup],
) -> Iterator[Expired]:  # fmt: skip
    there = copies_at(place, book[0])
    past = [copy for copy in there if copy.expires_at <= now]
    whole = _newest_whole(place, there, book) if past else None
    for copy in past:
        if whole is None or there.index(copy) >= there.index(whole):
            yield Expired(copy, _LAST)
            continue
        place.remove(copy.name)
        noted.drop(copy.place, copy.name)
        yield Expired(copy)
    names = {copy.name for copy in there}
    for copy in known:
        if copy.name not in names and there:
            noted.drop(copy.place, copy.name)
        elif copy.name not in names:
            yield Expired(copy, "no copy is to be seen there; is that disk connected?")


def _newest_whole(
    place: Objects, there: Sequence[KeyBackup], book: tuple[str, str | None]
) -> KeyBackup | None:
    """Give the newest copy that reads back whole and is of this book; looked at in memory alone."""
    for copy in reversed(there):
        with suppress(BadCopy, FileNotFoundError, sqlite3.Error):
            # Of no bytes at all SQLite would say that there is no memory.
            if content := place.get(copy.name):
                with closing(sqlite3.connect(":memory:")) as held:
                    held.deserialize(content)
                    _check_told(_told_of(held), *book)
                return copy
    return None


def check_copy(content: bytes, shop: str, begins: str | None, path: Path) -> None:
    """Write a copy to a path, as a register, if it is whole and of this book; raises BadCopy."""
    descriptor = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    try:
        with closing(sqlite3.connect(path, isolation_level=None)) as copy:
            told = _told_of(copy)
            copy.execute("drop table copy_of")
    except sqlite3.Error as error:
        path.unlink()
        raise BadCopy(f"it is damaged ({error})") from None
    try:
        _check_told(told, shop, begins)
    except BadCopy:
        path.unlink()
        raise


def _told_of(copy: sqlite3.Connection) -> tuple[str, str | None]:
    """Give what a copy says it is of, if it is whole; raises sqlite3.Error."""
    (state,) = copy.execute("pragma integrity_check").fetchone()
    told = copy.execute("select shop, begins from copy_of").fetchone()
    for table in ("riders", "keys"):
        copy.execute(f"select count(*) from {table}")
    if state != "ok" or told is None:
        raise sqlite3.DatabaseError(state)
    return str(told[0]), told[1]


def _check_told(told: tuple[str, str | None], shop: str, begins: str | None) -> None:
    if told[0] != shop or told[1] not in (None, begins):
        raise BadCopy("it is of another book")


# -- what is forgotten ---------------------------------------------------------------------


def forgotten_bytes(forgotten: Iterable[ForgottenKey]) -> bytes:
    """Give the list of what is forgotten as the content of `forgotten.json`."""
    rows = sorted({(one.key or "", one.rider or "", format_moment(one.at)) for one in forgotten})
    body = {"lockring_forgotten": _FORMAT, "forgotten": [list(row) for row in rows]}
    return (json.dumps({**body, "sha256": _digest(body)}, indent=1) + "\n").encode()


def read_forgotten(content: bytes) -> list[ForgottenKey]:
    """Give what `forgotten_bytes` wrote; raises BadCopy where it was changed."""
    try:
        told = json.loads(content)
        body = {key: told[key] for key in ("lockring_forgotten", "forgotten")}
        if told["sha256"] != _digest(body) or body["lockring_forgotten"] != _FORMAT:
            raise ValueError("it does not give its own SHA-256")
        return [
            ForgottenKey(key or None, rider or None, datetime.fromisoformat(at).astimezone(UTC))
            for key, rider, at in body["forgotten"]
        ]
    except (KeyError, TypeError, ValueError) as error:
        raise BadCopy(f"{FORGOTTEN} is damaged ({error})") from None


def _digest(body: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(body, sort_keys=True).encode()).hexdigest()
