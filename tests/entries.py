"""One entry as it would be recorded, for tests of how entries are completed."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from ledger.errors import Problem
from ledger.events import Event, parse_event
from ledger.prepare import prepare
from ledger.rules import BookFacts
from ledger.state import apply, start
from ledger.vocabulary import standard
from tests.strategies import BIKES, SHOP, event_id

BIKE = BIKES[0]
FACTS = BookFacts(
    vocabulary=standard(),
    now=datetime(2026, 1, 1, tzinfo=UTC),
    time_zone=ZoneInfo("Europe/Amsterdam"),
    currency="EUR",
)


def event(kind: str, data: dict[str, Any], number: int = 1, **more: Any) -> Event:
    raw = {"id": event_id(number), "seq": number, "shop": SHOP, "bike": BIKE, "actor": "mia"}
    at = datetime(2024, 3, 1, 9, number, tzinfo=UTC)
    version = 2 if kind == "distance_read" else 1
    raw |= {"kind": kind, "schema_version": version, "occurred_at": at, "data": data}
    return parse_event({**raw, **more})


def completed(
    kind: str, data: dict[str, Any], *before: Event, facts: BookFacts = FACTS, **more: Any
) -> tuple[Any, list[Problem]]:
    """The payload as recorded after some earlier events, and the problems of its units."""
    state = start(SHOP, BIKE)
    for earlier in before:
        ready, _ = prepare(earlier, state, facts)
        state = apply(state, ready, facts.vocabulary)
    done, problems = prepare(event(kind, data, 1 + len(before), **more), state, facts)
    return done.data, problems


def amount(value: object, unit: str, **more: Any) -> dict[str, Any]:
    return {"value": str(value), "unit": unit, **more}


def wear(**more: Any) -> dict[str, Any]:
    return {"position": "chain", "quantity": "elongation", **more}


def speeds(count: int) -> Event:
    return event("bike_registered", {"speeds": count})
