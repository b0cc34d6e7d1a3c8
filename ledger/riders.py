"""The riders' register and the keys that seal what is written about them.

Names, contacts and weights live here and nowhere in the events, so that a rider can be
forgotten: without the row and the key, sealed text is noise and every proof still holds.
"""

from __future__ import annotations

import base64
import secrets
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESSIV

from ledger.errors import BookDamaged, LedgerError
from ledger.events.types import format_moment
from ledger.owned import only_for_its_owner

BOOK_KEY = "book"
"""The key of text about bikes that have no rider, and of the shop's own words."""

_FILE = b"lockring file"
"""The associated data of sealed files: no text of an event opens as one, nor the other way."""
_TABLES = """
create table if not exists riders (
  rider text primary key, name text, phone text, email text, weight_kg text,
  may_contact integer not null default 0, consent_at text, added_at text not null
) strict;
create table if not exists keys (
  key text primary key, rider text unique, secret blob not null, made_at text not null
) strict;
"""


_FORGOTTEN = """
select rider from forgotten where rider is not null and not exists (
  select 1 from riders where riders.rider = forgotten.rider and added_at > forgotten.at
)
"""
"""Who was forgotten and not entered anew since; the table is made by the first forgetting."""


class RiderExists(LedgerError):
    """A rider of that id is already in the register."""


class RiderForgotten(LedgerError):
    """Text about a rider who was forgotten: there is no key to seal it with."""


class UnknownRider(LedgerError):
    """Nobody of that id is in the register."""


def no_rider(rider: str) -> UnknownRider:
    """Give the error of an id that nobody in the register has."""
    return UnknownRider(f"There is no rider {rider} in the register. See: lockring riders list.")


def say_forgotten(rider: str) -> str:
    """Give what to do where text about a forgotten rider's bike is to be kept."""
    return (
        f"Rider {rider} was forgotten, so no key is left to seal text about their bike. "
        "Record who rides it now first (rider_changed); if they came back, under a new id"
    )


@dataclass(frozen=True, slots=True)
class Rider:
    """One row of the register. Weight in kg as decimal text."""

    rider: str
    name: str | None = None
    phone: str | None = None
    email: str | None = None
    weight_kg: str | None = None
    may_contact: bool = False
    """Consent to be contacted, with the day it was given in `consent_at`."""
    consent_at: str | None = None


def _now() -> str:
    return format_moment(datetime.now(UTC))


def rider_row(rider: Rider) -> tuple[str | int | None, ...]:
    """Give the row by which a rider is entered now, in the order of the table's columns."""
    may = int(rider.may_contact)
    told = (rider.rider, rider.name, rider.phone, rider.email, rider.weight_kg)
    return (*told, may, rider.consent_at, _now())


def new_key(rider: str) -> tuple[str, str, bytes, str]:
    """Give the row of a new key of a rider, or of the book itself for ""."""
    key = f"k-{secrets.token_hex(8)}" if rider else BOOK_KEY
    return key, rider, secrets.token_bytes(64), _now()


def taken(rider: str) -> RiderExists:
    """Give the error of a rider who is entered a second time."""
    return RiderExists(f"Rider {rider} is already in the register. Choose another id.")


class _Database:
    """One SQLite file, opened when first needed; every write is durable when it returns."""

    def __init__(self, path: Path) -> None:
        self.path = path

    @contextmanager
    def connect(self) -> Iterator[sqlite3.Connection]:
        only_for_its_owner(self.path)
        connection = sqlite3.connect(self.path, timeout=30, isolation_level=None)
        try:
            connection.execute("pragma secure_delete = on")
            # extra: else a power cut right after a commit may bring the journal back, and with
            # it a book without the key that an acknowledged event is sealed with
            connection.execute("pragma synchronous = extra")
            yield connection
        finally:
            connection.close()

    @contextmanager
    def write(self) -> Iterator[sqlite3.Connection]:
        with self.connect() as connection:
            connection.execute("begin immediate")
            try:
                yield connection
            except BaseException:
                connection.execute("rollback")
                raise
            connection.execute("commit")

    def make(self) -> None:
        with self.connect() as connection:
            connection.executescript(_TABLES)


class Riders:
    """The register: who riders are, and whether they may be contacted."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._database = _Database(path)

    def make(self) -> None:
        """Make the register where there is none; an existing one is left as it is."""
        self._database.make()

    def add(self, riders: Iterable[Rider]) -> None:
        """Enter riders; raises RiderExists and enters none if one is already there."""
        rows = [rider_row(rider) for rider in riders]
        with self._database.write() as connection:
            for row in rows:
                try:
                    connection.execute("insert into riders values (?, ?, ?, ?, ?, ?, ?, ?)", row)
                except sqlite3.IntegrityError as error:
                    raise taken(str(row[0])) from error

    def get(self, rider: str) -> Rider | None:
        """Give one rider; None where nobody of that id is (or is any more) in the register."""
        return next(iter(self._read("where rider = ?", (rider,))), None)

    def all(self) -> list[Rider]:
        """Give every rider, by id."""
        return self._read("order by rider", ())

    def remove(self, rider: str) -> bool:
        """Take a rider's row away, durably; tell whether there was one. Keys are the keyring's."""
        with self._database.write() as connection:
            gone = connection.execute("delete from riders where rider = ?", (rider,))
        return gone.rowcount > 0

    def is_damaged(self, rider: str) -> bool:
        """Tell whether something of a rider is there that cannot be read."""
        return False

    def set_consent(self, rider: str, *, may_contact: bool, at: str) -> None:
        """Note that a rider agreed to be contacted, or no longer does, and since when.

        Durable when this returns. Raises UnknownRider.
        """
        with self._database.write() as connection:
            changed = connection.execute(
                "update riders set may_contact = ?, consent_at = ? where rider = ?",
                (int(may_contact), at, rider),
            )
        if changed.rowcount == 0:
            raise UnknownRider(
                f"There is no rider {rider} in the register. See: lockring riders list."
            )

    def _read(self, clause: str, values: tuple[str, ...]) -> list[Rider]:
        columns = "rider, name, phone, email, weight_kg, may_contact, consent_at"
        with self._database.connect() as connection:
            rows = connection.execute(f"select {columns} from riders {clause}", values).fetchall()
        return [
            Rider(rider, name, phone, email, weight, bool(may), since)
            for rider, name, phone, email, weight, may, since in rows
        ]


class Keyring:
    """The keys that seal free text, one a rider and one for the book."""

    def __init__(self, path: Path) -> None:
        self._database = _Database(path)
        self._by_rider: dict[str, str] = {}
        self._ciphers: dict[str, AESSIV | None] = {}
        self._open_write: sqlite3.Connection | None = None
        self._stamp: tuple[int, int] | None = None
        self._forgotten: frozenset[str] = frozenset()

    def _look_here(self) -> None:
        """Drop from memory what another process destroyed: whenever the file has changed."""
        if self._open_write is not None:
            return
        try:
            told = self._database.path.stat()
        except FileNotFoundError:
            return
        if self._stamp != (told.st_mtime_ns, told.st_size):
            self._drop_gone()
            self._stamp = told.st_mtime_ns, told.st_size

    def _drop_gone(self) -> frozenset[str]:
        with self._database.connect() as connection:
            found = frozenset(key for (key,) in connection.execute("select key from keys"))
            has_any = "select 1 from sqlite_master where name = 'forgotten'"
            if connection.execute(has_any).fetchone():
                self._forgotten = frozenset(who for (who,) in connection.execute(_FORGOTTEN))
        held = self._ciphers.items()
        self._ciphers = {key: made for key, made in held if key in found and made is not None}
        self._by_rider = {who: key for who, key in self._by_rider.items() if key in found}
        return found

    def forgotten_among(self, riders: Iterable[str | None]) -> frozenset[str]:
        """Give which of these riders were forgotten, and not entered in the register since."""
        self._look_here()
        return self._forgotten.intersection(rider for rider in riders if rider is not None)

    @contextmanager
    def in_one_write(self) -> Iterator[None]:
        """Make every key of a bulk import durable together, when this ends well; else none."""
        try:
            with self._database.write() as connection:
                self._open_write = connection
                yield
        except BaseException:
            self._by_rider, self._ciphers = {}, {}
            raise
        finally:
            self._open_write = None

    def keys_for(self, riders: Iterable[str | None]) -> dict[str | None, str]:
        """Give each rider's key id, making the missing keys durable first.

        None stands for "no rider" and gets the book's own key. Raises RiderForgotten.
        """
        asked = {rider or "" for rider in riders}
        for rider in sorted(self.forgotten_among(asked)):
            raise RiderForgotten(f"{say_forgotten(rider)}.")
        missing = sorted(asked - self._by_rider.keys())
        if missing:
            self._make_keys(missing)
        return {rider or None: self._by_rider[rider] for rider in asked}

    def _make_keys(self, riders: list[str]) -> None:
        if self._open_write is not None:
            self._insert(self._open_write, riders)
            return
        try:
            with self._database.write() as connection:
                self._insert(connection, riders)
        except BaseException:
            self._by_rider, self._ciphers = {}, {}
            raise

    def _insert(self, connection: sqlite3.Connection, riders: list[str]) -> None:
        for rider in riders:
            self._make_row(connection, rider)
            key, secret = connection.execute(
                "select key, secret from keys where rider = ?", (rider,)
            ).fetchone()
            self._by_rider[rider] = key
            self._ciphers[key] = AESSIV(secret)

    def _make_row(self, connection: sqlite3.Connection, rider: str) -> None:
        """Make a rider's key, unless there is one."""
        connection.execute(
            "insert into keys values (?, ?, ?, ?) on conflict do nothing", new_key(rider)
        )

    def _cipher(self, key: str) -> AESSIV | None:
        self._look_here()
        if key not in self._ciphers:
            with self._database.connect() as connection:
                row = connection.execute("select secret from keys where key = ?", (key,)).fetchone()
            self._ciphers[key] = AESSIV(row[0]) if row else None
        return self._ciphers[key]

    def load(self) -> None:
        """Read every key at once, for whoever is about to open the text of many riders."""
        with self._database.connect() as connection:
            rows = connection.execute("select key, secret from keys").fetchall()
        for key, secret in rows:
            if key not in self._ciphers:
                self._ciphers[key] = AESSIV(secret)

    def follow(self) -> frozenset[str]:
        """Give the ids of all keys there are, and drop from memory those that are gone."""
        return self._drop_gone()

    def destroy(self, rider: str) -> str | None:
        """Destroy a rider's key, durably: what is sealed with it is noise from now on.

        Gives the id it had; None where the rider has no key.
        """
        with self._database.write() as connection:
            row = connection.execute(
                "delete from keys where rider = ? returning key", (rider,)
            ).fetchone()
        self.follow()
        return None if row is None else str(row[0])

    def has(self, key: str) -> bool:
        """Tell whether a key is there, so that what is sealed with it can be opened."""
        return self._cipher(key) is not None

    def seal(self, key: str, text: str, event_id: str, field: str) -> dict[str, str] | None:
        """Seal text under a key for one field of one event; None where the key is gone.

        Deterministic (AES-SIV, RFC 5297; associated data: event id, field path), so that the
        same event entered again seals to the same bytes.
        """
        cipher = self._cipher(key)
        if cipher is None:
            return None
        sealed = cipher.encrypt(text.encode(), [event_id.encode(), field.encode()])
        return {"key": key, "sealed": base64.urlsafe_b64encode(sealed).rstrip(b"=").decode()}

    def open(self, sealed: dict[str, str], event_id: str, field: str) -> str | None:
        """Give the text, or None where its key is gone or does not fit."""
        cipher = self._cipher(sealed["key"])
        if cipher is None:
            return None
        raw = sealed["sealed"]
        data = base64.urlsafe_b64decode(raw + "=" * (-len(raw) % 4))
        try:
            return cipher.decrypt(data, [event_id.encode(), field.encode()]).decode()
        except InvalidTag:
            return None

    def seal_bytes(self, key: str, content: bytes) -> bytes | None:
        """Seal a file under a key, by its content alone: the same file seals to the same bytes.

        None where the key is gone.
        """
        cipher = self._cipher(key)
        return None if cipher is None else cipher.encrypt(content, [_FILE])

    def open_bytes(self, key: str, sealed: bytes) -> bytes | None:
        """Give a file's content, or None where its key is gone or does not fit."""
        cipher = self._cipher(key)
        if cipher is None:
            return None
        try:
            return cipher.decrypt(sealed, [_FILE])
        except InvalidTag:
            return None


def register_gone(path: Path) -> BookDamaged:
    """Give the error of a book whose register is missing."""
    return BookDamaged(
        f"{path}, with the riders and the keys of all that is written about them, is missing. Put "
        "it back from a backup. Only if there is none, make an empty file of that name: a new "
        "register is begun in it, and what was written before reads as forgotten."
    )
