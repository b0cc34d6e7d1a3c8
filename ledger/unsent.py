"""Half-typed forms, kept until they are confirmed: `book/private.sqlite`, readable by its owner
alone (mode 0600).

What is typed may be about a rider, so it is sealed with that rider's key, as in the events.
Nothing of it is ever logged.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, Protocol


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


class Unsent:
    """The forms of one book."""

    def __init__(self, path: Path, keys: Keys) -> None:
        raise NotImplementedError

    def put(self, key: FormKey, values: Mapping[str, Any], rider: str | None = None) -> None:
        """Keep what is typed in a form; durable when this returns. `rider`: whose bike it is."""
        raise NotImplementedError

    def get(self, key: FormKey) -> HalfTyped | None:
        """Give a form as it was left; None where there is none, or its key is gone."""
        raise NotImplementedError

    def drop(self, key: FormKey) -> None:
        """Forget a form: it was confirmed, or thrown away."""
        raise NotImplementedError

    def of(self, who: str) -> list[HalfTyped]:
        """Give every form somebody left, newest first."""
        raise NotImplementedError
