"""Small events for the tests of the files: one workshop, invented, one reading each."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from ledger.events import Event, parse_event

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
UNITS = {"elongation": "%", "pressure": "bar", "torque": "N·m"}


def event_id(number: int) -> str:
    """Give the UUIDv7 text that stands for a number."""
    return f"019caa00-0000-7000-8000-{number:012x}"


def reading(seq: int, *, number: int | None = None, **changes) -> Event:
    """Give a chain reading with this seq; `number` makes its id, its seq if not given."""
    at = START + timedelta(seconds=seq)
    raw = {
        "id": event_id(seq if number is None else number),
        "seq": seq,
        "kind": "measured",
        "schema_version": 1,
        "shop": "quay",
        "bike": f"BKE{seq % 7:05}",
        "actor": "m1",
        "occurred_at": at.isoformat(),
        "recorded_at": at.isoformat(),
        "data": {
            "position": "chain",
            "quantity": "elongation",
            "value": {"value": "0.42", "unit": "%", "canonical": "0.420"},
        },
    }
    return parse_event({**raw, **changes})


def readings(first: int, count: int) -> list[Event]:
    """Give `count` readings whose seq starts at `first`."""
    return [reading(seq) for seq in range(first, first + count)]


def after(head, count: int = 1) -> list[Event]:
    """Give `count` readings that follow a head."""
    return readings(head.size + 1, count)
