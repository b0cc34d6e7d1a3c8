"""Where a log stands, and what the next commit makes of it."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from ledger.events import Event
from ledger.storage.footer import CommitMark, Footer
from ledger.storage.merkle import EMPTY_ROOT, Frontier, leaf_hash


@dataclass(frozen=True, slots=True)
class Head:
    """Where the log stands: its newest commit, and the tree over all its events."""

    commit: int = 0
    size: int = 0
    root: str = EMPTY_ROOT.hex()
    """RFC 6962 root over all events, 64 hexadecimal digits."""
    frontier: Frontier = field(default_factory=Frontier)
    recorded_at: datetime | None = None
    """When the newest commit was recorded; None in an empty log."""

    @classmethod
    def after(cls, footer: Footer) -> Head:
        """Give the head a file leaves behind."""
        mark = footer.last
        return cls(mark.commit, mark.size, mark.root, footer.frontier, mark.recorded_at)


@dataclass(frozen=True, slots=True)
class Committed:
    """A commit that is durable: its number, the head after it, and its events."""

    commit: int
    head: Head
    events: tuple[Event, ...]


def next_footer(head: Head, events: Sequence[Event], canonical: Sequence[bytes]) -> Footer:
    """Give the footer of the commit that appends these events after a head.

    Raises ValueError where `seq` has a gap, `recorded_at` falls, or there are no events.
    """
    latest = head.recorded_at
    for seq, event in enumerate(events, head.size + 1):
        if event.seq != seq or event.recorded_at is None:
            raise ValueError(f"event {event.id} has seq {event.seq}; {seq} and recorded_at needed")
        if latest is not None and event.recorded_at < latest:
            raise ValueError(f"event {event.id} is recorded before the one in front of it")
        latest = event.recorded_at
    if not events or latest is None:
        raise ValueError("a commit needs at least one event")
    frontier = head.frontier.extend(map(leaf_hash, canonical))
    mark = CommitMark(head.commit + 1, frontier.size, frontier.root().hex(), latest)
    return Footer((mark,), frontier, writer=secrets.token_hex(16))
