"""Stored events of one bike in short, and the bike they make, for tests of the fold."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from ledger.events import Event, parse_event
from ledger.state import fold
from ledger.view import BikeView
from tests.strategies import BIKES, SHOP, WORDS, event_id

BIKE = BIKES[0]


def day(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(hour=12, tzinfo=UTC)


def amount(value: str, unit: str, canonical: str | None = None) -> dict[str, str]:
    return {"value": value, "unit": unit, "canonical": canonical or value}


def book(*rows: tuple[str, str, dict[str, Any]], job: str | None = None) -> list[Event]:
    """Stored events of one bike in seq order: (day, kind, data)."""
    events = []
    for seq, (on, kind, data) in enumerate(rows, 1):
        raw = {"id": event_id(seq), "seq": seq, "shop": SHOP, "bike": BIKE, "actor": "mia"}
        if job is not None:
            raw["job"] = job
        version = 2 if kind == "distance_read" else 1
        raw |= {"kind": kind, "occurred_at": day(on), "schema_version": version, "data": data}
        events.append(parse_event(raw))
    return events


def view(events: list[Event], on: str = "2030-01-01", known: int = 10**6) -> BikeView:
    return fold(events, shop=SHOP, bike=BIKE, as_at=day(on), known_seq=known, vocabulary=WORDS)


def odometer(value: str, **more: Any) -> dict[str, Any]:
    return {"odometer": amount(value, "km"), **more}


def torque(at: str, value: str = "40") -> dict[str, Any]:
    return {"position": at, "quantity": "torque", "after": amount(value, "N·m")}


def wear(value: str, **more: Any) -> dict[str, Any]:
    return {"position": "chain", "quantity": "elongation", "value": amount(value, "%"), **more}


def fitted(at: str, part: str, **more: Any) -> dict[str, Any]:
    return {"position": at, "part": part, **more}


REGISTERED = ("2024-01-01", "bike_registered", {"speeds": 11})
