"""What the book answers when events were recorded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from ledger.errors import Problem


@dataclass(frozen=True, slots=True)
class EventReceipt:
    """Where one event stands. `is_new` is False where it had been recorded before."""

    id: str
    seq: int
    commit: int
    is_new: bool


@dataclass(frozen=True, slots=True)
class Receipt:
    """One commit: its number, the tree after it, and each entry's place in the book."""

    commit: int
    size: int
    """Events in the book after the commit."""
    root: str
    """RFC 6962 root over those events, hexadecimal."""
    recorded_at: datetime | None
    events: tuple[EventReceipt, ...]
    warnings: tuple[Problem, ...] = ()

    @property
    def is_new(self) -> bool:
        """Tell whether anything was recorded that had not been before."""
        return any(event.is_new for event in self.events)


@dataclass(frozen=True, slots=True)
class Checked:
    """What would become of entries, with nothing recorded."""

    problems: tuple[Problem, ...]
    warnings: tuple[Problem, ...]
    count_new: int
    count_known: int
