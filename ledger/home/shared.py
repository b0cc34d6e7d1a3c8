"""The register and keys of a book on an object store: what is made is in the store first."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from cryptography.hazmat.primitives.ciphers.aead import AESSIV

from ledger.errors import Unreachable, WriteRefused
from ledger.home.register import KEYS, RIDERS, Row, SharedRegister
from ledger.riders import Keyring, Rider, Riders, UnknownRider, new_key, rider_row, taken

FOLLOWED_FOR_SEALING_S = 1.0


class SharedRiders(Riders):
    """The register's rows, in the store first."""

    def __init__(self, register: SharedRegister) -> None:
        super().__init__(register.path)
        self._register = register

    def make(self) -> None:
        """Make the mirror's file where there is none."""
        super().make()
        self._register.make()

    def add(self, riders: Iterable[Rider]) -> None:
        """Enter riders; raises RiderExists and enters none if one is already there."""
        rows = [rider_row(rider) for rider in riders]
        ids = [str(row[0]) for row in rows]
        if len(set(ids)) < len(ids):
            raise taken(next(rider for rider in ids if ids.count(rider) > 1))
        with _refusing_silence():
            stand = self._register.create_all(RIDERS, rows)
        if stand != rows:
            made = [row for row, stands in zip(rows, stand, strict=True) if row == stands]
            self._register.take_back(RIDERS, made)
            raise taken(next(i for i, r, s in zip(ids, rows, stand, strict=True) if r != s))
        self._register.note(RIDERS, rows)

    def remove(self, rider: str) -> bool:
        """Take a rider's row away, in the store and here; tell whether there was one."""
        with _refusing_silence():
            self._register.share_forgotten()
            self._register.follow_now(RIDERS)
            self._register.remove(RIDERS, rider)
        return super().remove(rider)

    def set_consent(self, rider: str, *, may_contact: bool, at: str) -> None:
        """Note consent, in the store first; raises UnknownRider, WriteRefused if it is silent."""
        try:
            is_there = self._register.amend(
                rider, {"may_contact": int(may_contact), "consent_at": at}
            )
        except Unreachable as error:
            raise WriteRefused(f"Nothing was noted: {error}") from error
        if not is_there:
            raise UnknownRider(f"Rider {rider} was forgotten just now.")
        super().set_consent(rider, may_contact=may_contact, at=at)

    def is_damaged(self, rider: str) -> bool:
        """Tell whether a rider's row or key in the store cannot be read."""
        return self._register.is_damaged(rider)

    def _read(self, clause: str, values: tuple[str, ...]) -> list[Rider]:
        self._register.follow(RIDERS)
        return super()._read(clause, values)


class SharedKeyring(Keyring):
    """The keys, in the store first: a key is durable there before anything is sealed with it."""

    def __init__(self, register: SharedRegister) -> None:
        super().__init__(register.path)
        self._register = register
        self._seen = 0
        self._new: list[Row] = []

    def _look(self, within_s: float | None = None) -> None:
        if self._open_write is None:
            self._register.follow(KEYS, within_s)
            # Another process of this machine may have let the mirror follow.
            if self._seen != (now := self._register.path.stat().st_mtime_ns):
                self._seen = now
                super().follow()

    @contextmanager
    def in_one_write(self) -> Iterator[None]:
        """Make every key of a bulk import durable together, when this ends well; else none."""
        with _refusing_silence():
            self._register.follow_now(KEYS)
        self._new = []
        with super().in_one_write():
            yield
            with _refusing_silence():
                stand = self._register.create_all(KEYS, self._new)
            if stand != self._new:
                pairs = zip(self._new, stand, strict=True)
                self._register.take_back(KEYS, [new for new, stands in pairs if new == stands])
                raise WriteRefused(
                    "Nothing was recorded: somebody else began to write about the same riders "
                    "meanwhile. Try again."
                )
            assert self._open_write is not None
            self._register.note_in(self._open_write, KEYS, self._new)

    def keys_for(self, riders: Iterable[str | None]) -> dict[str | None, str]:
        """Give each rider's key id; the missing ones are made in the store first."""
        self._look(FOLLOWED_FOR_SEALING_S)
        return super().keys_for(riders)

    def _make_keys(self, riders: list[str]) -> None:
        if self._open_write is None:
            held = self._held(riders)
            rows: list[Row] = [new_key(rider) for rider in riders if rider not in held]
            if rows:
                with _refusing_silence():
                    stand = self._register.create_all(KEYS, rows)
                self._register.note(KEYS, stand)
        super()._make_keys(riders)

    def _held(self, riders: list[str]) -> set[str]:
        with self._database.connect() as connection:
            held = {row[0] for row in connection.execute("select rider from keys")}
        return held & set(riders)

    def _make_row(self, connection: sqlite3.Connection, rider: str) -> None:
        """Make the key of a bulk import here, for now; any other stands in the store by now."""
        held = connection.execute("select 1 from keys where rider = ?", (rider,)).fetchone()
        if held is None and self._open_write is None:
            raise WriteRefused("Nothing was recorded: a rider was forgotten just now. Try again.")
        if held is None:
            row = new_key(rider)
            connection.execute("insert into keys values (?, ?, ?, ?)", row)
            self._new.append(row)

    def _cipher(self, key: str) -> AESSIV | None:
        self._look()
        if key not in self._ciphers and self._open_write is None:
            with self._database.connect() as connection:
                is_here = connection.execute("select 1 from keys where key = ?", (key,)).fetchone()
            if is_here is None:
                # It was in the store before what is sealed with it.
                self._register.catch_up(KEYS)
        return super()._cipher(key)

    def load(self) -> None:
        """Read every key at once."""
        self._look()
        super().load()

    def follow(self) -> frozenset[str]:
        """Give the ids of all keys there are, and drop from memory those that are gone."""
        self._look()
        return super().follow()

    def destroy(self, rider: str) -> str | None:
        """Destroy a rider's key, in the store and here; give the id it had."""
        with _refusing_silence():
            self._register.share_forgotten()
            self._register.follow_now(KEYS)
            self._register.remove(KEYS, rider)
        return super().destroy(rider)


@contextmanager
def _refusing_silence() -> Iterator[None]:
    try:
        yield
    except Unreachable as error:
        raise WriteRefused(f"Nothing was recorded: {error}") from error
