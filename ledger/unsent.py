"""Half-typed forms, kept until they are confirmed: `book/private.sqlite`, readable by its owner
alone (mode 0600).

What is typed may be about a rider, so it is sealed with that rider's key, as in the events.
Nothing of it is ever logged.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

from ledger.errors import LedgerError
from ledger.events.types import format_moment
from ledger.owned import only_for_its_owner


class Keys(Protocol):
    """What seals and opens text: the book's `Keyring`."""

    def keys_for(self, riders: Iterable[str | None]) -> dict[str | None, str]:
        """Give each rider's key id, making missing keys durable first."""

    def seal(self, key: str, text: str, event_id: str, field: str) -> dict[str, str] | None:
        """Seal text; None where the key is gone."""

    def open(self, sealed: dict[str, str], event_id: str, field: str) -> str | None:
        """Give sealed text; None where its key is gone or does not fit."""


@dataclass(frozen=True, slots=True)
class FormKey:
    """Whose form of which step it is; empty text where there is no bike or job yet."""

    who: str
    bike: str = ""
    job: str = ""
    step: str = ""


@dataclass(frozen=True, slots=True)
class HalfTyped:
    """A form as it was left. `values` are plain JSON types: what was typed, the event's id."""

    key: FormKey
    values: Mapping[str, Any]
    typed_at: datetime


MOST_TYPED = 200_000
"""A form is not longer than this, as JSON."""
_TABLE = """
create table if not exists unsent (
  who text not null, bike text not null, job text not null, step text not null,
  key text not null, sealed text not null, typed_at text not null,
  primary key (who, bike, job, step)
) strict;
"""
_WHERE = "where who = ? and bike = ? and job = ? and step = ?"


class Unsent:
    """The forms of one book."""

    def __init__(self, path: Path, keys: Keys) -> None:
        self._path = path
        self._keys = keys

    @contextmanager
    def _connect(self) -> Iterator[sqlite3.Connection]:
        only_for_its_owner(self._path)
        connection = sqlite3.connect(self._path, timeout=30, isolation_level=None)
        try:
            connection.execute("pragma secure_delete = on")
            connection.execute("pragma synchronous = extra")
            connection.execute(_TABLE)
            yield connection
        finally:
            connection.close()

    def put(self, key: FormKey, values: Mapping[str, Any], rider: str | None = None) -> None:
        """Keep what is typed in a form; durable when this returns.

        `rider` is whose bike it is about: their key seals it, the book's own for None. Raises
        LedgerError for a form longer than MOST_TYPED, or one that no key is left for.
        """
        text = json.dumps(dict(values), ensure_ascii=False)
        if len(text) > MOST_TYPED:
            raise LedgerError("That is more than a form can hold. Shorten the text.")
        name = self._keys.keys_for([rider])[rider]
        sealed = self._keys.seal(name, text, _about(key), "unsent")
        if sealed is None:
            raise LedgerError("What is typed cannot be kept: the rider's key is gone.")
        row = (*_columns(key), name, sealed["sealed"], format_moment(datetime.now(UTC)))
        with self._connect() as connection:
            connection.execute("insert or replace into unsent values (?, ?, ?, ?, ?, ?, ?)", row)

    def get(self, key: FormKey) -> HalfTyped | None:
        """Give a form as it was left; None where there is none, or its key is gone."""
        return next(iter(self._read(_WHERE, _columns(key))), None)

    def drop(self, key: FormKey) -> None:
        """Forget a form: it was confirmed, or thrown away."""
        with self._connect() as connection:
            connection.execute(f"delete from unsent {_WHERE}", _columns(key))

    def drop_job(self, bike: str, job: str) -> None:
        """Forget everybody's forms of a job that was closed."""
        with self._connect() as connection:
            connection.execute("delete from unsent where bike = ? and job = ?", (bike, job))

    def of(self, who: str) -> list[HalfTyped]:
        """Give every form somebody left that can still be opened, newest first."""
        return self._read("where who = ? order by typed_at desc, bike, job, step", (who,))

    def all(self) -> list[HalfTyped]:
        """Give every form that can still be opened, whoever left it, newest first."""
        return self._read("order by typed_at desc, who, bike, job, step", ())

    def sealed_with(self, key: str) -> list[FormKey]:
        """Give the forms sealed with a key, whether or not it is there still."""
        asked = "select who, bike, job, step from unsent where key = ? order by 1, 2, 3, 4"
        with self._connect() as connection:
            return [FormKey(*row) for row in connection.execute(asked, (key,)).fetchall()]

    def drop_all(self, keys: Iterable[FormKey]) -> None:
        """Forget forms, so that nothing of them is left in the file."""
        with self._connect() as connection:
            for key in keys:
                connection.execute(f"delete from unsent {_WHERE}", _columns(key))
            connection.execute("vacuum")

    def _read(self, clause: str, values: tuple[str, ...]) -> list[HalfTyped]:
        asked = f"select who, bike, job, step, key, sealed, typed_at from unsent {clause}"
        with self._connect() as connection:
            rows = connection.execute(asked, values).fetchall()
        found = (self._opened(*row) for row in rows)
        return [one for one in found if one is not None]

    def _opened(
        self, who: str, bike: str, job: str, step: str, key: str, sealed: str, typed_at: str
    ) -> HalfTyped | None:
        form = FormKey(who, bike, job, step)
        text = self._keys.open({"key": key, "sealed": sealed}, _about(form), "unsent")
        if text is None:
            return None
        return HalfTyped(form, json.loads(text), datetime.fromisoformat(typed_at))


def _columns(key: FormKey) -> tuple[str, str, str, str]:
    return key.who, key.bike, key.job, key.step


def _about(key: FormKey) -> str:
    """Give what binds sealed values to their row: they open nowhere else."""
    return json.dumps(_columns(key))
