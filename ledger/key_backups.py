"""Where backups are, copies of the register until when, and which keys are forgotten for good.

All stand in the register itself. Forgetting a rider asks `KeyBackups.holding` which copies still
have the key, and tells `Forgotten`, so that no older copy brings the key back.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from ledger.events.types import format_moment

_KEY_BACKUPS = """
create table if not exists key_backups (
  place text not null, name text not null, made_at text not null, expires_at text not null,
  primary key (place, name)
) strict
"""
_FORGOTTEN = """
create table if not exists forgotten (
  key text, rider text, at text not null, unique (key, rider, at)
) strict
"""

_EVENT_BACKUPS = """
create table if not exists event_backups (place text primary key, at text not null) strict
"""


@dataclass(frozen=True, slots=True)
class KeyBackup:
    """One copy of the register, with every row and key it had when it was made."""

    place: str
    """The folder, or the address of an object store, it is in."""
    name: str
    made_at: datetime
    expires_at: datetime
    """From then on a backup takes it away."""


@dataclass(frozen=True, slots=True)
class ForgottenKey:
    """A key that was destroyed, and whose; text under it must never open again."""

    key: str | None
    """None: the rider had no key, only a row in the register."""
    rider: str | None
    """None: of whom it was is not known."""
    at: datetime


class _Register:
    """The register's file, with the tables of this module in it."""

    def __init__(self, path: Path) -> None:
        """Take the path of `riders.sqlite`, which must be there already."""
        self.path = path

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        with closing(sqlite3.connect(self.path, timeout=30, isolation_level=None)) as connection:
            connection.execute("pragma secure_delete = on")
            connection.execute("pragma synchronous = extra")
            connection.execute(_KEY_BACKUPS)
            connection.execute(_FORGOTTEN)
            connection.execute(_EVENT_BACKUPS)
            connection.execute("begin immediate")
            try:
                yield connection
            except BaseException:
                connection.execute("rollback")
                raise
            connection.execute("commit")

    def _rows(self, table: str, query: str, values: tuple[str, ...] = ()) -> list[tuple[str, ...]]:
        """Ask a table; nothing where no backup, or no forgetting, ever made it."""
        with closing(sqlite3.connect(self.path, timeout=30)) as connection:
            if not connection.execute(
                "select 1 from sqlite_master where type = 'table' and name = ?", (table,)
            ).fetchone():
                return []
            return connection.execute(query, values).fetchall()


class KeyBackups(_Register):
    """The copies of a register that were made and not taken away yet, by all that is known."""

    def note(self, made: KeyBackup) -> None:
        """Note a copy, durably; before it is made, so that none is there that nobody knows of."""
        with self._write() as connection:
            connection.execute("insert or replace into key_backups values (?, ?, ?, ?)", _row(made))

    def all(self) -> list[KeyBackup]:
        """Give every copy that is noted, oldest first; expired ones too, while they are there."""
        query = "select place, name, made_at, expires_at from key_backups order by made_at, name"
        return [_key_backup(row) for row in self._rows("key_backups", query)]

    def holding(self, rider: str) -> list[KeyBackup]:
        """Give the copies that have a rider's row or key, oldest first.

        Ask before the rider is forgotten. A copy that has expired holds them until a backup has
        taken it away, so it is given too: its `expires_at` is past then.
        """
        query = "select made_at from keys where rider = ? union all select added_at from riders"
        query += " where rider = ? order by 1"
        since = self._rows("keys", query, (rider, rider))
        if not since:
            return []
        return [one for one in self.all() if format_moment(one.made_at) >= since[0][0]]

    def drop(self, place: str, name: str) -> None:
        """Note that a copy is not there any more; no error if it was not noted."""
        with self._write() as connection:
            connection.execute(
                "delete from key_backups where place = ? and name = ?", (place, name)
            )


class EventBackups(_Register):
    """The places the events were backed up to: each keeps a list of what is forgotten."""

    def note(self, place: str, at: datetime) -> None:
        """Note a place, durably; noting it again changes its time alone."""
        with self._write() as connection:
            row = (place, format_moment(at))
            connection.execute("insert or replace into event_backups values (?, ?)", row)

    def all(self) -> list[str]:
        """Give every place that is noted, sorted."""
        rows = self._rows("event_backups", "select place from event_backups order by place")
        return [place for (place,) in rows]


class Forgotten(_Register):
    """The keys that were destroyed: restoring an older copy must not bring them back."""

    def add(self, forgotten: Iterable[ForgottenKey]) -> None:
        """Note keys and riders as forgotten, durably; noting the same again changes nothing.

        Whoever destroys row and key in a transaction of their own calls `note_forgotten` there.
        """
        with self._write() as connection:
            note_forgotten(connection, forgotten)

    def all(self) -> list[ForgottenKey]:
        """Give everything that was forgotten, oldest first."""
        rows = self._rows("forgotten", "select key, rider, at from forgotten order by at, key")
        return [ForgottenKey(key, rider, _moment(at)) for key, rider, at in rows]

    def enforce(self) -> int:
        """Destroy whatever is noted as forgotten and still there; give how many keys and rows.

        A rider who was entered again since keeps the newer row and key.
        """
        count = 0
        forgotten = self.all()
        with self._write() as connection:
            for one in forgotten:
                owner = connection.execute(
                    "delete from keys where key = ? returning rider", (one.key,)
                ).fetchone()
                count += owner is not None
                rows = [(owner[0], "9999")] if owner is not None else []
                rows += [(one.rider, format_moment(one.at))] if one.rider is not None else []
                for rider, until in rows:
                    count += connection.execute(
                        "delete from riders where rider = ? and added_at <= ?", (rider, until)
                    ).rowcount
        if count:
            with closing(sqlite3.connect(self.path, timeout=30)) as connection:
                connection.execute("vacuum")
        return count


def note_forgotten(connection: sqlite3.Connection, forgotten: Iterable[ForgottenKey]) -> None:
    """Note keys and riders as forgotten, in the transaction that is open on the register."""
    connection.execute(_FORGOTTEN)
    for one in forgotten:
        row = (one.key, one.rider, format_moment(one.at))
        known = "select 1 from forgotten where key is ? and rider is ? and at = ?"
        if not connection.execute(known, row).fetchone():
            connection.execute("insert into forgotten values (?, ?, ?)", row)


def _row(made: KeyBackup) -> tuple[str, str, str, str]:
    return made.place, made.name, format_moment(made.made_at), format_moment(made.expires_at)


def _key_backup(row: tuple[str, ...]) -> KeyBackup:
    place, name, made_at, expires_at = row
    return KeyBackup(place, name, _moment(made_at), _moment(expires_at))


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)
