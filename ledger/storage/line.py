"""Whether an object store answers, as far as was seen, and when it last did."""

from __future__ import annotations

import contextlib
import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

from ledger.errors import LedgerError, Unreachable

Made = TypeVar("Made")

ASK_AGAIN_S = 15.0
"""How long a store that did not answer is left alone before it is asked again for reading."""
SEEN = "seen"
"""The file of a mirror that tells when the store last answered: an ISO 8601 instant."""


@dataclass(frozen=True, slots=True)
class Silence:
    """A store that does not answer, and what is read meanwhile."""

    address: str
    why: str
    """What was said when it was asked."""
    commit: int
    """The newest commit that this machine's copy holds."""
    seen_at: datetime | None
    """When the store last answered this machine; None where that is not known."""


class Line:
    """What is known of the way to one store, shared by all that ask it."""

    def __init__(self, address: str, mirror: Path, ask_again_s: float = ASK_AGAIN_S) -> None:
        self.address = address
        self.why: str | None = None
        """What was said when it did not answer; None while it does."""
        self.tell: Callable[[], None] = lambda: None
        """Is called each time that it answers no longer."""
        self._mirror = mirror
        self._ask_again_s = ask_again_s
        self._asked_at = 0.0
        self._asking = threading.Lock()

    def ask(self, question: Callable[[], Made]) -> Made:
        """Ask the store, and remember whether it answered; raises Unreachable."""
        try:
            answer = question()
        except Unreachable as error:
            is_new = self.why is None
            self.why, self._asked_at = str(error), time.monotonic()
            if is_new:
                self.tell()
            raise
        self.why = None
        return answer

    def note_seen(self) -> None:
        """Note that this machine's copy is what the store holds now."""
        temporary = self._mirror / f".{SEEN}-{os.getpid()}-{threading.get_ident()}"
        # A mirror on a full disk is still good to read.
        with contextlib.suppress(OSError):
            temporary.write_text(datetime.now(UTC).isoformat(timespec="seconds"))
            temporary.replace(self._mirror / SEEN)

    def seen_at(self) -> datetime | None:
        """Give when this machine's copy was last what the store held."""
        try:
            return datetime.fromisoformat((self._mirror / SEEN).read_text())
        except (OSError, ValueError):
            return None

    def may_ask(self, again: Callable[[], object]) -> bool:
        """Say whether the store is to be asked now; it is, while it answers.

        One that does not is asked `again` from time to time, beside whoever reads.
        """
        if self.why is None:
            return True
        is_due = time.monotonic() >= self._asked_at + self._ask_again_s
        if is_due and self._asking.acquire(blocking=False):
            threading.Thread(target=self._ask_beside, args=(again,), daemon=True).start()
        return False

    def _ask_beside(self, again: Callable[[], object]) -> None:
        try:
            with contextlib.suppress(LedgerError, OSError):
                again()
        finally:
            self._asking.release()
