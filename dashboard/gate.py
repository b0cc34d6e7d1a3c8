"""Who is signed in: cookies, sessions and files, each tied to the person they were made for.

One gate stands in front of a server. Without sign-in whoever reaches it is the owner, for it
listens on this machine alone.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from threading import BoundedSemaphore, Lock
from typing import Any

import streamlit as st
from itsdangerous import BadData, URLSafeTimedSerializer
from streamlit.runtime.scriptrunner import get_script_run_ctx

from ledger.asking import OWNER, Asker
from ledger.errors import LedgerError
from ledger.private import LASTS_S, Person, Private, Tried

KEPT_S = 0.5
"""How long what a cookie is worth is remembered: a page asks dozens of times."""
MOST_SESSIONS, MOST_FILES, MOST_KEPT = 10_000, 50_000, 1_000
TRIES_AT_ONCE = 2
"""PINs that are looked at at once: each takes tens of megabytes, on purpose."""


class NotSignedIn(LedgerError):
    """The sign-in of this page has ended."""


@dataclass(frozen=True)
class Rules:
    """How a server is reached, and whether somebody must sign in."""

    port: int
    hosts: frozenset[str] = frozenset({"127.0.0.1", "localhost", "::1"})
    """The names and addresses it answers to, in lower case."""
    is_sign_in: bool = False
    is_https: bool = False
    providers: tuple[str, ...] = ()
    """Names of the providers of sign-ins that are set up."""

    @property
    def cookie(self) -> str:
        """The cookie's name: browsers share cookies among ports, so each has its own."""
        return f"{'__Host-' if self.is_https else ''}lockring_{self.port}"


class _Latest(OrderedDict[str, Any]):
    """A mapping that forgets what was put in first."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self._most = most

    def __setitem__(self, key: str, value: Any) -> None:
        super().__setitem__(key, value)
        while len(self) > self._most:
            self.popitem(last=False)


@dataclass
class Gate:
    """What a server knows of who is signed in."""

    private: Private
    rules: Rules
    clock: Callable[[], float] = time.time
    _sessions: _Latest = field(default_factory=lambda: _Latest(MOST_SESSIONS))
    _files: _Latest = field(default_factory=lambda: _Latest(MOST_FILES))
    _kept: _Latest = field(default_factory=lambda: _Latest(MOST_KEPT))
    _lock: Lock = field(default_factory=Lock)
    _trying: BoundedSemaphore = field(default_factory=lambda: BoundedSemaphore(TRIES_AT_ONCE))

    # -- cookies ------------------------------------------------------------------------------

    def _signer(self) -> URLSafeTimedSerializer:
        return URLSafeTimedSerializer(self.private.secret("cookies"), salt="lockring sign-in")

    def cookie_of(self, token: str) -> str:
        """Give a sign-in's token as a cookie's value, signed with this book's own key."""
        return str(self._signer().dumps(token))

    def token_in(self, cookies: Mapping[str, str]) -> str | None:
        """Give the token of the gate's cookie; None where it is missing, forged or too old."""
        value = cookies.get(self.rules.cookie)
        if not value:
            return None
        try:
            token = self._signer().loads(value, max_age=int(LASTS_S))
        except BadData:
            return None
        return token if isinstance(token, str) else None

    def person_in(self, cookies: Mapping[str, str], *, is_used: bool = False) -> Person | None:
        """Give who is signed in by a request's cookies; None for nobody."""
        value, now = cookies.get(self.rules.cookie, ""), self.clock()
        with self._lock:
            until, person = self._kept.get(value, (0.0, None))
        if now < until and not is_used:
            found: Person | None = person
            return found
        token = self.token_in(cookies)
        person = None if token is None else self.private.signed_in(token, now, is_used=is_used)
        with self._lock:
            self._kept[value] = (now + KEPT_S, person)
        return person

    # -- signing in and out -------------------------------------------------------------------

    def try_pin(self, name: str, pin: str, address: str) -> Tried:
        """Try a PIN; see `Private.try_pin`."""
        with self._trying:
            return self.private.try_pin(name, pin, address, self.clock())

    def begin(self, person: Person) -> str:
        """Begin a sign-in; gives the cookie's value."""
        return self.cookie_of(self.private.begin(person.person, self.clock()))

    def end(self, cookies: Mapping[str, str]) -> None:
        """End the sign-in of a request's cookies, here and for whoever kept a copy."""
        token = self.token_in(cookies)
        if token is not None:
            self.private.end(token)
        with self._lock:
            self._kept.clear()

    # -- sessions and files -------------------------------------------------------------------

    def note_session(self, session: str, person: Person) -> None:
        """Note whose session of the server one is."""
        with self._lock:
            self._sessions[session] = person.person

    def is_session_of(self, session: str, person: Person) -> bool:
        """Say whether a session is somebody's."""
        with self._lock:
            return bool(self._sessions.get(session) == person.person)

    def note_file(self, file: str) -> None:
        """Note for whom a file was made: for whoever the page being drawn is drawn for."""
        found = self.person_in(st.context.cookies)
        if found is not None:
            with self._lock:
                self._files[file] = self._files.get(file, frozenset()) | {found.person}

    def note_same(self, file: str, made: str) -> None:
        """Note that a file was made when another's name was asked for: it is the same people's."""
        with self._lock:
            who = self._files.get(file, frozenset())
            self._files[made] = self._files.get(made, frozenset()) | who

    def is_file_of(self, file: str, person: Person) -> bool:
        """Say whether a file was made for somebody."""
        with self._lock:
            return person.person in self._files.get(file, frozenset())


def file_in(address: str) -> str:
    """Give the file's name in its address, `/media/<name>.<ending>`."""
    return address.rpartition("/")[2].partition(".")[0]


_standing: list[Gate] = []
"""The gate of this process's server; none where pages are drawn without one."""


def stand(gate: Gate) -> None:
    """Put a gate in front of this process's pages."""
    _standing[:] = [gate]


def gate_of(book: Path, rules: Rules) -> Gate:
    """Give the gate of a book."""
    return Gate(Private(book), rules)


def person() -> Person | None:
    """Give who is signed in in this session; None where nobody needs to be.

    Raises NotSignedIn where the sign-in of this session has ended.
    """
    gate = _standing[0] if _standing else None
    if gate is None or not gate.rules.is_sign_in:
        return None
    found = gate.person_in(st.context.cookies)
    if found is None:
        raise NotSignedIn("Your sign-in has ended. Load the page again to sign in.")
    context = get_script_run_ctx(suppress_warning=True)
    if context is not None:
        gate.note_session(context.session_id, found)
    return found


def asker() -> Asker:
    """Give who asks in this session: the person signed in, else the owner."""
    found = person()
    return OWNER if found is None else found.asker
