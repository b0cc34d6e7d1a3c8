"""Sealing and opening the free text of whole events."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

from ledger.events import Event, parse_event, payload_class, plain
from ledger.events.text import change_text, text_fields
from ledger.riders import Keyring


def has_text(event: Event) -> bool:
    """Tell whether an event holds free text that is not sealed yet."""
    return _has_text(event.data)


def _has_text(payload: BaseModel) -> bool:
    for name, nested in text_fields(type(payload)):
        value = getattr(payload, name)
        if nested is None:
            if isinstance(value, str):
                return True
        elif isinstance(value, tuple):
            if any(map(_has_text, value)):
                return True
        elif value is not None and _has_text(value):
            return True
    return False


def texts_of(event: Event) -> list[str]:
    """Give the field paths of an event's free text that is not sealed yet: `data.note`."""
    found: list[str] = []

    def seen(field: str, text: Any) -> Any:
        if isinstance(text, str):
            found.append(f"data.{field}")
        return text

    change_text(payload_class(event.kind), plain(event)["data"], seen)
    return found


def seal_event(event: Event, key: str, keys: Keyring) -> Event:
    """Give the event with every text that was still in the clear sealed under a key."""

    def sealed(field: str, text: Any) -> Any:
        return keys.seal(key, text, event.id, field) if isinstance(text, str) else text

    raw = plain(event)
    raw["data"] = change_text(payload_class(event.kind), raw["data"], sealed)
    return parse_event(raw)


def reveal_event(event: Event, keys: Keyring) -> dict[str, Any]:
    """Give the event as plain JSON types, its text opened; None where the key is gone."""

    def opened(field: str, text: Any) -> Any:
        return text if isinstance(text, str) else keys.open(text, event.id, field)

    raw = plain(event)
    raw["data"] = change_text(payload_class(event.kind), raw["data"], opened)
    return raw
