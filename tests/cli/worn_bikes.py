"""Bikes whose chains wear by hand, put straight into the book of a command line's folder."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import groupby
from typing import Any

import pytest
from workbench import Ended, Run

from ledger.book import Book

OTHER = "2B4D6F8H"
AS_AT = ("--as-at", "2026-06-01")
Draft = dict[str, Any]


@pytest.fixture
def quay(lockring: Run) -> Run:
    """An empty book in Lisbon's time with one mechanic."""
    made = lockring("init", "--shop", "quay", "--time-zone", "Europe/Lisbon", "--mechanic", "m1")
    assert made.code == 0, made.err
    return lockring


def draft(day: str, kind: str, bike: str, data: dict[str, Any]) -> Draft:
    return {"kind": kind, "bike": bike, "actor": "m1", "occurred_at": f"{day}T12:00:00Z",
            "data": data}  # fmt: skip


def odometer(day: str, bike: str, figure: int) -> Draft:
    return draft(day, "distance_read", bike, {"odometer": {"value": str(figure), "unit": "km"}})


def worn(bike: str, figure: str, rider: str | None = None) -> list[Draft]:
    """Give a bike with 3,000 km in a year and its chain read then; limit 0.75 %."""
    registered = {"speeds": 9, "make": "Tern", "model": "Dory"}
    value = {"value": figure, "unit": "%"}
    read = {"position": "chain", "quantity": "elongation", "value": value}
    whose = [draft("2025-01-02", "rider_changed", bike, {"rider": rider})] if rider else []
    return [
        draft("2025-01-02", "bike_registered", bike, registered),
        *whose,
        odometer("2025-01-02", bike, 0),
        draft("2025-01-02", "part_fitted", bike, {"position": "chain", "part": f"{bike}-c"}),
        odometer("2026-01-02", bike, 3000),
        draft("2026-01-02", "measured", bike, read),
    ]


def recorded(*drafts: Draft) -> None:
    """Record events in the book of the folder, in one commit."""
    Book.open("book").append(drafts, confirm_clock=True)


def recorded_day_by_day(*drafts: Draft) -> None:
    """Make the folder's book, each event recorded an hour after it occurred."""
    made_at = datetime(2025, 1, 1, tzinfo=UTC)
    Book.init("book", shop="quay", clock=lambda: made_at)
    by_day = groupby(sorted(drafts, key=_occurred), _occurred)
    for day, some in by_day:
        now = datetime.fromisoformat(day) + timedelta(hours=1)
        Book.open("book", clock=partial(_same, now)).append(list(some), confirm_clock=True)


def _occurred(draft: Draft) -> str:
    return str(draft["occurred_at"])


def _same(moment: datetime) -> datetime:
    return moment


def strict(ended: Ended) -> Any:
    """Give what a command printed, read as JSON that holds neither NaN nor Infinity."""
    assert ended.code == 0, ended.err

    def refuse(name: str) -> Any:
        raise AssertionError(f"{name} is not JSON")

    return json.loads(ended.out, parse_constant=refuse)
