"""A register on an object store: one object a rider's row, one object a key, mirrored here.

`riders/<rider>` and `keys/<rider>`, JSON, each made by a conditional PUT, so that two machines
that enter the same rider, or need the same rider's key, end with one. The mirror's
`riders.sqlite` follows: what is gone in the store goes from it, what is new comes.
"""

from __future__ import annotations

import base64
import contextlib
import hashlib
import json
import math
import re
import sqlite3
import threading
import time
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from ledger.errors import BookDamaged, LedgerError, Unreachable
from ledger.events.types import format_moment
from ledger.key_backups import Forgotten, ForgottenKey
from ledger.riders import BOOK_KEY
from ledger.storage.line import Line
from ledger.storage.mirrored import MirroredStore
from ledger.storage.objects import BucketObjects, Named

RIDERS, KEYS, FORGOTTEN = "riders", "keys", "forgotten"
FOLLOWED_S = 5.0
"""How long the mirror's register is good enough for reading."""
_HANDS = 16
_ATTEMPTS = 4
_PLAIN = re.compile(r"[a-z0-9-]{1,64}")
_OTHER = "x-"
"""What the names of riders begin with whose ids have other signs; their UTF-8 in hex follows."""
_SHARED = """
create table if not exists shared (
  name text primary key, size integer not null, tag text not null
) strict
"""
Row = tuple[Any, ...]


def object_name(folder: str, rider: str) -> str:
    """Give the name of a rider's object, whatever signs the id has; "" is the book's own key."""
    if not rider:
        return f"{folder}/{BOOK_KEY}"
    if _PLAIN.fullmatch(rider) and rider != BOOK_KEY and not rider.startswith(_OTHER):
        return f"{folder}/{rider}"
    return f"{folder}/{_OTHER}{rider.encode().hex()}"


@dataclass(frozen=True)
class _Kind:
    """One folder of the register: its table, and how an object is a row."""

    folder: str
    columns: tuple[str, ...]

    def row_of(self, content: bytes) -> Row:
        told = json.loads(content)
        if "secret" in self.columns:
            told["secret"] = base64.b64decode(told["secret"], validate=True)
        return tuple(told[column] for column in self.columns)

    def content_of(self, row: Row) -> bytes:
        told = dict(zip(self.columns, row, strict=True))
        if "secret" in told:
            told["secret"] = base64.b64encode(told["secret"]).decode()
        return json.dumps(told, ensure_ascii=False).encode()

    def name_of(self, row: Row) -> str:
        return object_name(self.folder, row[self.columns.index("rider")])


_KINDS = {
    RIDERS: _Kind(
        RIDERS,
        ("rider", "name", "phone", "email", "weight_kg", "may_contact", "consent_at", "added_at"),
    ),
    KEYS: _Kind(KEYS, ("key", "rider", "secret", "made_at")),
}


class SharedRegister:
    """The objects of a register, and the tables of this machine's mirror that follow them."""

    def __init__(
        self, objects: BucketObjects, path: Path, line: Line, events: MirroredStore
    ) -> None:
        """Take where the objects are, the mirror's `riders.sqlite`, and the way to the store."""
        self.path = path
        self._events = events
        self._objects = objects
        self._line = line
        self._lock = threading.RLock()
        self._followed_at = {RIDERS: -math.inf, KEYS: -math.inf}
        self.damaged: dict[str, str] = {}
        """Objects that could not be read when they were last looked at, and what is wrong."""

    def make(self) -> None:
        """Make what the mirror's file needs to follow the store."""
        with self._write() as connection:
            connection.execute(_SHARED)

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        with contextlib.closing(
            sqlite3.connect(self.path, timeout=30, isolation_level=None)
        ) as connection:
            connection.execute("pragma secure_delete = on")
            connection.execute("pragma synchronous = extra")
            connection.execute("begin immediate")
            try:
                yield connection
            except BaseException:
                connection.execute("rollback")
                raise
            connection.execute("commit")

    def follow(self, folder: str, within_s: float | None = None) -> None:
        """Bring the mirror up to date, unless that was done moments ago; not while it is silent."""
        good_s = FOLLOWED_S if within_s is None else within_s
        if time.monotonic() < self._followed_at[folder] + good_s:
            return
        if self._line.may_ask(lambda: self.follow_now(folder)):
            with contextlib.suppress(Unreachable):
                self.follow_now(folder)

    def catch_up(self, folder: str) -> None:
        """Bring the mirror up to date with what the events that were listed may name."""
        if self._followed_at[folder] < self._events.asked_at:
            self.follow(folder, 0.0)

    def follow_now(self, folder: str) -> None:
        """Bring the mirror up to date; raises Unreachable.

        An object that cannot be read is noted (`damaged`), and looked at again each time.
        """
        with self._lock:
            # What the mirror has by now was in the store before it is listed.
            before, began = self._known(folder), time.monotonic()
            listed = {one.name: one for one in self._line.ask(lambda: self._objects.all(folder))}
            fresh = [one for one in listed.values() if before.get(one.name) != _state(one)]
            gone = {name: state for name, state in before.items() if name not in listed}
            found = self._fetched(fresh)
            others = {n: w for n, w in self.damaged.items() if not n.startswith(f"{folder}/")}
            self.damaged = others | _unreadable(_KINDS[folder], found)
            if fresh or gone:
                self._apply(_KINDS[folder], found, gone)
            self._followed_at[folder] = began

    def _known(self, folder: str) -> dict[str, tuple[int, str]]:
        with contextlib.closing(sqlite3.connect(self.path, timeout=30)) as connection:
            rows = connection.execute(
                "select name, size, tag from shared where name glob ?", (f"{folder}/*",)
            ).fetchall()
        return {name: (size, tag) for name, size, tag in rows}

    def _fetched(self, fresh: list[Named]) -> list[tuple[Named, bytes]]:
        def got(one: Named) -> bytes | None:
            # Forgotten since it was listed: it is not to come here at all.
            with contextlib.suppress(FileNotFoundError):
                return self._line.ask(lambda: self._objects.get(one.name))
            return None

        with ThreadPoolExecutor(_HANDS) as hands:
            found = zip(fresh, hands.map(got, fresh), strict=True)
            return [(one, content) for one, content in found if content is not None]

    def _apply(
        self, kind: _Kind, found: list[tuple[Named, bytes]], gone: dict[str, tuple[int, str]]
    ) -> None:
        whole = [(one, content) for one, content in found if one.name not in self.damaged]
        rows = [(one, _row(kind, one.name, content)) for one, content in whole]
        bad = [one.name for one, _ in found if one.name in self.damaged and kind.folder == RIDERS]
        with self._write() as connection:
            for name, (size, tag) in gone.items():
                is_same = "name = ? and size = ? and tag = ?"
                told = connection.execute(
                    f"delete from shared where {is_same} returning name", (name, size, tag)
                ).fetchone()
                if told is not None:
                    _drop(connection, kind, name)
            # A key is never made anew, so that what the mirror has of one is what it was.
            for name in bad:
                with contextlib.suppress(ValueError):
                    _drop(connection, kind, name)
                connection.execute("delete from shared where name = ?", (name,))
            for one, row in rows:
                _drop(connection, kind, one.name)
                _insert(connection, kind, row, _state(one))

    def is_damaged(self, rider: str) -> bool:
        """Tell whether a rider's row or key could not be read when it was last looked at."""
        return any(object_name(folder, rider) in self.damaged for folder in _KINDS)

    def create(self, folder: str, row: Row) -> Row:
        """Make an object unless there is one; give what stands there then, as a row.

        Raises Unreachable. The mirror is not changed.
        """
        kind = _KINDS[folder]
        name, content = kind.name_of(row), kind.content_of(row)
        try:
            self._objects.create(name, content)
        except (FileExistsError, Unreachable) as error:
            try:
                return _row(kind, name, self._objects.get(name))
            except FileNotFoundError:
                raise Unreachable(f"{name} could not be made: {error}") from error
        return row

    def create_all(self, folder: str, rows: list[Row]) -> list[Row]:
        """Make many objects, as `create`; all are taken back where one cannot be made.

        Raises WriteRefused where the store would give a name twice.
        """
        self._events.probe_once()
        with ThreadPoolExecutor(_HANDS) as hands:
            asked = [hands.submit(self.create, folder, row) for row in rows]
        errors = [one.exception() for one in asked]
        stand = [
            one.result() if error is None else None
            for one, error in zip(asked, errors, strict=True)
        ]
        if failed := next(filter(None, errors), None):
            self.take_back(folder, [r for r, s in zip(rows, stand, strict=True) if r == s])
            raise failed
        return [row for row in stand if row is not None]

    def put_all(self, path: Path) -> None:
        """Put every row and key of another `riders.sqlite` into an empty store."""
        for folder, kind in _KINDS.items():
            with contextlib.closing(sqlite3.connect(path, timeout=30)) as connection:
                columns = ", ".join(kind.columns)
                rows = connection.execute(f"select {columns} from {folder}").fetchall()
            if self.create_all(folder, rows) != rows:
                raise FileExistsError(f"{folder}: somebody else makes a book there")

    def take_back(self, folder: str, rows: Iterable[Row]) -> None:
        """Remove objects that were made for nothing, as far as the store lets it."""
        for row in rows:
            with contextlib.suppress(LedgerError):
                self._objects.remove(_KINDS[folder].name_of(row))

    def note(self, folder: str, rows: Iterable[Row]) -> None:
        """Put rows that stand in the store into the mirror too."""
        with self._write() as connection:
            self.note_in(connection, folder, rows)

    def note_in(self, connection: sqlite3.Connection, folder: str, rows: Iterable[Row]) -> None:
        """Do as `note`, in a write that is open."""
        kind = _KINDS[folder]
        for row in rows:
            _drop(connection, kind, kind.name_of(row))
            _insert(connection, kind, row, (len(kind.content_of(row)), ""))

    def share_forgotten(self) -> None:
        """Let store and mirror name the same as forgotten for good; raises Unreachable.

        So no machine's backup brings back what another one forgot.
        """
        here = {_forgotten_name(one): one for one in Forgotten(self.path).all()}
        there = {one.name for one in self._line.ask(lambda: self._objects.all(FORGOTTEN))}
        for name in sorted(here.keys() - there):
            one = here[name]
            told = {"key": one.key, "rider": one.rider, "at": format_moment(one.at)}
            with contextlib.suppress(FileExistsError):
                self._objects.create(name, json.dumps(told).encode())
        if new := sorted(there - here.keys()):
            Forgotten(self.path).add(filter(None, map(self._forgotten, new)))

    def amend(self, rider: str, changes: dict[str, Any]) -> bool:
        """Change fields of a rider's row in the store; False where there is none, or no more.

        Raises Unreachable. Only the very row that was read is replaced; as a store may not heed
        that, what is forgotten is looked at afterwards, and the row of whoever is goes again.
        """
        name = object_name(RIDERS, rider)
        for _ in range(_ATTEMPTS):
            try:
                content, tag = self._objects.get_tagged(name)
                told = json.loads(content) | changes
                self._objects.put_over(name, json.dumps(told, ensure_ascii=False).encode(), tag)
            except FileExistsError:
                continue
            except FileNotFoundError:
                return False
            self.share_forgotten()
            if self._is_forgotten_since(rider, str(told["added_at"])):
                self._objects.remove(name)
                return False
            return True
        raise Unreachable(f"others change {name} without a pause; try again later.")

    def _is_forgotten_since(self, rider: str, added_at: str) -> bool:
        noted = Forgotten(self.path).all()
        return any(one.rider == rider and format_moment(one.at) >= added_at for one in noted)

    def _forgotten(self, name: str) -> ForgottenKey | None:
        try:
            one = json.loads(self._objects.get(name))
            return ForgottenKey(one["key"], one["rider"], datetime.fromisoformat(one["at"]))
        except (ValueError, KeyError, TypeError) as error:
            self.damaged[name] = f"it cannot be read ({error})"
        return None

    def remove(self, folder: str, rider: str) -> None:
        """Remove a rider's object from the store, and note it as gone; raises Unreachable."""
        name = object_name(folder, rider)
        self._objects.remove(name)
        with self._write() as connection:
            connection.execute("delete from shared where name = ?", (name,))


def _forgotten_name(one: ForgottenKey) -> str:
    told = f"{one.key}\n{one.rider}\n{format_moment(one.at)}"
    return f"{FORGOTTEN}/{hashlib.sha256(told.encode()).hexdigest()[:32]}"


def _rider_in(name: str) -> str:
    """Give whose an object is by its name; "" for the book's own key."""
    folder, _, last = name.partition("/")
    if last == BOOK_KEY:
        return ""
    is_other = last.startswith(_OTHER)
    rider = bytes.fromhex(last.removeprefix(_OTHER)).decode() if is_other else last
    if object_name(folder, rider) != name:
        raise ValueError(f"{name} is the name of no rider")
    return rider


def _unreadable(kind: _Kind, found: Iterable[tuple[Named, bytes]]) -> dict[str, str]:
    """Give the names of objects that are no row, each with what is wrong with it."""
    told = ((one.name, _wrong(kind, one.name, content)) for one, content in found)
    return {name: wrong for name, wrong in told if wrong is not None}


def _wrong(kind: _Kind, name: str, content: bytes) -> str | None:
    """Give what is wrong with an object; None where it is a row of that name."""
    try:
        is_its_own = kind.name_of(kind.row_of(content)) == name
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        return f"it cannot be read ({error})"
    return None if is_its_own else "it is somebody else's"


def _row(kind: _Kind, name: str, content: bytes) -> Row:
    wrong = _wrong(kind, name, content)
    if wrong is None:
        return kind.row_of(content)
    raise BookDamaged(f"{name} of this book is damaged: {wrong}. Put it back from a backup.")


def _drop(connection: sqlite3.Connection, kind: _Kind, name: str) -> None:
    connection.execute(f"delete from {kind.folder} where rider = ?", (_rider_in(name),))


def _insert(connection: sqlite3.Connection, kind: _Kind, row: Row, state: tuple[int, str]) -> None:
    places = ", ".join("?" * len(row))
    connection.execute(f"insert or replace into {kind.folder} values ({places})", row)
    told = (kind.name_of(row), *state)
    connection.execute("insert or replace into shared values (?, ?, ?)", told)


def _state(one: Named) -> tuple[int, str]:
    return one.size, f"{one.made_at.isoformat()} {one.tag}"
