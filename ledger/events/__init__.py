"""The facts: every kind of event, frozen, versioned and strictly validated."""

from __future__ import annotations

import json
from contextlib import suppress
from functools import cache
from typing import Any, cast

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from ledger.events import kinds
from ledger.events.envelope import Envelope
from ledger.events.kinds import Event
from ledger.events.upcast import upcast

__all__ = [
    "BOOK_KINDS",
    "EVENTS",
    "Event",
    "canonical_bytes",
    "event_classes",
    "parse_event",
    "payload_class",
    "plain",
]

EVENTS: TypeAdapter[Event] = TypeAdapter(Event, config=ConfigDict(defer_build=True))

_CANONICAL = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":"))

BOOK_KINDS = frozenset({"terms_set", "mechanic_registered", "gauge_registered", "bike_linked"})
"""Kinds that are of the book itself and name no bike."""


@cache
def event_classes() -> dict[str, type[BaseModel]]:
    """Give every kind's name and its event class."""
    classes = [
        found
        for found in vars(kinds).values()
        if isinstance(found, type) and issubclass(found, Envelope) and "kind" in found.model_fields
    ]
    return {found.model_fields["kind"].default: found for found in classes}


def payload_class(kind: str) -> type[BaseModel]:
    """Give the payload class of a kind; KeyError if there is no such kind."""
    annotation = event_classes()[kind].model_fields["data"].annotation
    assert isinstance(annotation, type)
    return annotation


def parse_event(raw: dict[str, Any]) -> Event:
    """Give the event that plain JSON types describe, read as the newest version.

    Raises pydantic's ValidationError, naming each field that is wrong.
    """
    newest = upcast(raw)
    kind = newest.get("kind")
    found = event_classes().get(kind) if isinstance(kind, str) else None
    if found is not None:
        # Its own class alone reads the same as all kinds together, which take long to build;
        # what is wrong is told by all kinds together.
        with suppress(ValidationError):
            return cast("Event", found.model_validate(newest))
    return EVENTS.validate_python(newest)


def plain(event: Event) -> dict[str, Any]:
    """Give the event as plain JSON types; fields that are None are left out."""
    return event.model_dump(mode="json", exclude_none=True)


def canonical_bytes(event: Event) -> bytes:
    """Give the exact bytes that are stored and hashed: RFC 8785 of the whole event.

    The standard library writes RFC 8785 to the byte, five times as fast as a general writer of
    it, for what events are made of: names in ASCII, text, truth values and whole numbers below
    2**53; never a float.
    """
    return _CANONICAL.encode(plain(event)).encode()
