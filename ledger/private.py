"""Who may sign in, their PINs and their sign-ins: in `private.sqlite`, outside the events.

Of a PIN only its argon2 hash is kept, of a sign-in only the hash of its random token: whoever
reads the file signs in with neither. Nothing of it is ever logged.
"""

from __future__ import annotations

import hashlib
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import cast

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError

from ledger.asking import ROLES, Asker, Role
from ledger.errors import LedgerError, WrongUse
from ledger.owned import only_for_its_owner

FILE = "private.sqlite"
FEWEST_DIGITS, MOST_DIGITS = 6, 32
HOUR = 3600.0
LASTS_S, IDLE_S, SEEN_EVERY_S = 12 * HOUR, 2 * HOUR, 60.0
"""A sign-in ends so long after it began, and so long after it was last used; how often use is
noted."""
FREE_TRIES, FREE_TRIES_ADDRESS, FIRST_WAIT_S, LONGEST_WAIT_S = 5, 20, 30.0, HOUR
"""Wrong PINs in a row before a person, and an address, must wait: twice as long each time."""
_UNKNOWN = "person of no such name"
_TABLES = """
create table if not exists people (
  person text primary key, role text not null, mechanic text, email text unique, pin text
) strict;
create table if not exists sign_ins (
  token blob primary key, person text not null, began_at real not null, seen_at real not null
) strict;
create table if not exists tries (
  who text primary key, count integer not null, until real not null
) strict;
create table if not exists secrets (name text primary key, value blob not null) strict;
"""


class PersonExists(LedgerError):
    """Somebody of that name, or with that email, may sign in already."""


class UnknownPerson(LedgerError):
    """Nobody of that name may sign in."""


class PoorPin(LedgerError):
    """A PIN that is too easily guessed."""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who may sign in."""

    person: str
    role: Role
    mechanic: str | None = None
    """Their id as a mechanic: what they do is recorded as theirs."""
    email: str | None = None
    """By which a provider of sign-ins knows them."""
    has_pin: bool = False

    @property
    def asker(self) -> Asker:
        """Who asks when they do."""
        return Asker(self.role, self.mechanic)


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of a PIN: a person, or how long nobody needs to try again."""

    person: Person | None
    wait_s: float = 0.0


@cache
def _hasher() -> PasswordHasher:
    """argon2id with the library's own parameters (RFC 9106, low-memory recommendation)."""
    return PasswordHasher()


@cache
def _nobodys_pin() -> str:
    # Verified for people who are not there, so that it takes as long as for those who are.
    return _hasher().hash(secrets.token_hex(16))


def check_pin(pin: str) -> None:
    """Raise PoorPin for a PIN of too few digits, one digit repeated, or digits in a row."""
    if not (pin.isascii() and pin.isdigit() and FEWEST_DIGITS <= len(pin) <= MOST_DIGITS):
        raise PoorPin(f"A PIN has {FEWEST_DIGITS} to {MOST_DIGITS} digits, and nothing else.")
    steps = {(int(after) - int(before)) % 10 for before, after in pairwise(pin)}
    is_repeat = any(pin == (pin[:size] * len(pin))[: len(pin)] for size in (1, 2, 3))
    if is_repeat or steps <= {1} or steps <= {9}:
        raise PoorPin("That PIN is among the first that anybody tries. Take another.")


class Private:
    """The people of one book."""

    def __init__(self, book: Path) -> None:
        self.path = book / FILE

    @contextmanager
    def _connect(self) -> Iterator[sqlite3.Connection]:
        only_for_its_owner(self.path)
        connection = sqlite3.connect(self.path, timeout=30, isolation_level=None)
        try:
            connection.execute("pragma secure_delete = on")
            connection.execute("pragma synchronous = extra")
            if not connection.execute(
                "select 1 from sqlite_master where name = 'secrets'"
            ).fetchone():
                connection.executescript(_TABLES)
            yield connection
        finally:
            connection.close()

    @contextmanager
    def _write(self) -> Iterator[sqlite3.Connection]:
        with self._connect() as connection:
            connection.execute("begin immediate")
            try:
                yield connection
            except BaseException:
                connection.execute("rollback")
                raise
            connection.execute("commit")

    # -- people -------------------------------------------------------------------------------

    def people(self) -> list[Person]:
        """Give everybody who may sign in, by name."""
        if not self.path.exists():
            return []
        with self._connect() as connection:
            rows = connection.execute(f"{_PEOPLE} order by person").fetchall()
        return [_person(row) for row in rows]

    def person(self, name: str) -> Person:
        """Give somebody; raises UnknownPerson."""
        found = next((one for one in self.people() if one.person == name), None)
        if found is None:
            raise UnknownPerson(f"Nobody called {name} may sign in. See who: lockring people list.")
        return found

    def add(self, person: Person, pin: str | None) -> None:
        """Let somebody sign in; raises PersonExists, PoorPin, WrongUse for a role there is not."""
        if person.role not in ROLES:
            raise WrongUse(f"There is no role {person.role}. Roles are {', '.join(ROLES)}.")
        email = person.email and person.email.casefold()
        row = (
            person.person,
            person.role,
            person.mechanic,
            email,
            None if pin is None else _hashed(pin),
        )
        try:
            with self._write() as connection:
                connection.execute("insert into people values (?, ?, ?, ?, ?)", row)
        except sqlite3.IntegrityError:
            raise PersonExists(
                f"{person.person}, or that email, may sign in already. See lockring people list."
            ) from None

    def set_pin(self, name: str, pin: str) -> None:
        """Give somebody another PIN, and end their sign-ins; raises UnknownPerson, PoorPin."""
        self.person(name)
        hashed = _hashed(pin)
        with self._write() as connection:
            connection.execute("update people set pin = ? where person = ?", (hashed, name))
            connection.execute("delete from sign_ins where person = ?", (name,))
            connection.execute("delete from tries where who = ?", (_key(name),))

    def remove(self, name: str) -> None:
        """Let somebody sign in no longer, and end their sign-ins; raises UnknownPerson."""
        self.person(name)
        with self._write() as connection:
            for table in ("people", "sign_ins"):
                connection.execute(f"delete from {table} where person = ?", (name,))
            connection.execute("delete from tries where who = ?", (_key(name),))

    # -- signing in ---------------------------------------------------------------------------

    def try_pin(self, name: str, pin: str, address: str, now: float) -> Tried:
        """Try a PIN, as typed at an address at a time (seconds since 1970).

        Each try is counted before it is looked at, so that many at once are no way round; a right
        one clears the person's count. Takes as long for people who are not there.
        """
        known = {one.person for one in self.people() if one.has_pin}
        mine = _key(name) if name in known else _UNKNOWN
        limits = {mine: FREE_TRIES, f"address {address}": FREE_TRIES_ADDRESS}
        with self._write() as connection:
            wait_s = max(_wait_s(connection, who, now) for who in limits)
            if wait_s > 0:
                return Tried(None, wait_s)
            for who, free in limits.items():
                _count(connection, who, free, now)
            row = connection.execute("select pin from people where person = ?", (name,)).fetchone()
        is_right = _is_right(row[0] if row and row[0] else None, pin)
        with self._write() as connection:
            if is_right:
                _forget(connection, tuple(limits))
            wait_s = max(_wait_s(connection, who, now) for who in limits)
        return Tried(self.person(name)) if is_right else Tried(None, wait_s)

    def by_email(self, email: str) -> Person | None:
        """Give whom a provider of sign-ins knows by an email; None for nobody."""
        wanted = email.casefold()
        return next((one for one in self.people() if one.email == wanted), None)

    def begin(self, name: str, now: float) -> str:
        """Begin a sign-in of somebody; gives its token. Those that ended are swept away."""
        token = secrets.token_urlsafe(32)
        with self._write() as connection:
            connection.execute(
                "delete from sign_ins where began_at < ? or seen_at < ?",
                (now - LASTS_S, now - IDLE_S),
            )
            connection.execute(
                "insert into sign_ins values (?, ?, ?, ?)", (_digest(token), name, now, now)
            )
        return token

    def signed_in(self, token: str, now: float, *, is_used: bool = False) -> Person | None:
        """Give whose sign-in a token is of; None where it ended, or never was one.

        `is_used`: somebody did something with it, so that its idle time begins anew.
        """
        query = f"{_PEOPLE.replace('person,', 'people.person,', 1)} join sign_ins using (person)"
        ends = "token = ? and began_at between ? and ? and seen_at > ?"
        key = _digest(token)
        with self._connect() as connection:
            row = connection.execute(
                f"{query} where {ends}", (key, now - LASTS_S, now + SEEN_EVERY_S, now - IDLE_S)
            ).fetchone()
            if row is not None and is_used:
                connection.execute(
                    "update sign_ins set seen_at = ? where token = ? and seen_at < ?",
                    (now, key, now - SEEN_EVERY_S),
                )
        return None if row is None else _person(row)

    def end(self, token: str) -> None:
        """End a sign-in: its token is worth nothing from here on."""
        with self._write() as connection:
            connection.execute("delete from sign_ins where token = ?", (_digest(token),))

    def end_all(self, name: str | None = None) -> int:
        """End every sign-in of somebody, or of everybody; gives how many."""
        with self._write() as connection:
            return connection.execute(
                "delete from sign_ins where ? is null or person = ?", (name, name)
            ).rowcount

    def secret(self, name: str) -> bytes:
        """Give a random key of this book's own, made when it is first asked for."""
        with self._connect() as connection:
            row = connection.execute(_SECRET, (name,)).fetchone()
        if row is None:
            with self._write() as connection:
                connection.execute(
                    "insert or ignore into secrets values (?, ?)", (name, secrets.token_bytes(32))
                )
                row = connection.execute(_SECRET, (name,)).fetchone()
        return cast(bytes, row[0])


_SECRET = "select value from secrets where name = ?"
_PEOPLE = "select person, role, mechanic, email, pin is not null from people"


def _person(row: tuple[str, Role, str | None, str | None, int]) -> Person:
    return Person(row[0], row[1], row[2], row[3], bool(row[4]))


def _hashed(pin: str) -> str:
    check_pin(pin)
    return _hasher().hash(pin)


def _is_right(hashed: str | None, pin: str) -> bool:
    try:
        _hasher().verify(hashed or _nobodys_pin(), pin)
    except VerificationError:
        return False
    return hashed is not None


def _digest(token: str) -> bytes:
    return hashlib.sha256(token.encode("utf-8", "replace")).digest()


def _key(name: str) -> str:
    return f"person {name}"


def _wait_s(connection: sqlite3.Connection, who: str, now: float) -> float:
    row = connection.execute("select until from tries where who = ?", (who,)).fetchone()
    return max(0.0, float(row[0]) - now) if row else 0.0


def _count(connection: sqlite3.Connection, who: str, free: int, now: float) -> None:
    row = connection.execute("select count from tries where who = ?", (who,)).fetchone()
    count = (int(row[0]) if row else 0) + 1
    over = count - free
    wait_s = 0.0 if over < 0 else min(FIRST_WAIT_S * 2.0 ** min(over, 30), LONGEST_WAIT_S)
    connection.execute("insert or replace into tries values (?, ?, ?)", (who, count, now + wait_s))


def _forget(connection: sqlite3.Connection, who: tuple[str, ...]) -> None:
    for one in who:
        connection.execute("delete from tries where who = ?", (one,))
