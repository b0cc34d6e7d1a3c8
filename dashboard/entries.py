"""One line of a bike's timeline, ready to be read: the event in words, and what became of it."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any


@dataclass(frozen=True)
class Entry:
    """One event of one bike, in words."""

    event: str
    seq: int
    kind: str
    occurred_at: datetime
    job: str | None
    actor: str
    position: str | None
    system: str | None
    verdict: str | None
    line: str
    remark: str
    """What somebody wrote with it; `(forgotten)` where its key is gone."""
    is_struck: bool
    struck_because: str
    data: Mapping[str, Any]

    @property
    def searchable(self) -> str:
        """Everything a search by words looks at."""
        said = (self.line, self.remark, self.verdict or "", self.struck_because, self.actor)
        return " ".join(said).casefold()


@dataclass(frozen=True)
class Point:
    """One reading, as a chart shows it; figures in the quantity's canonical unit."""

    position: str
    quantity: str
    point: str | None
    measured_at: datetime
    value: Decimal | None
    low: Decimal | None
    high: Decimal | None
    limit: Decimal | None
    verdict: str | None
    event: str = ""

    @property
    def key(self) -> tuple[str, str, str | None]:
        """What the reading is of: position, quantity, and the point on it."""
        return (self.position, self.quantity, self.point)


def _canonical(data: Mapping[str, Any], name: str) -> Decimal | None:
    amount = data.get(name)
    if not amount or amount.get("canonical") is None:
        return None
    return Decimal(amount["canonical"])


def reading_points(entries: list[Entry]) -> list[Point]:
    """Give every reading that was not struck, oldest first, with the limit it was held to."""
    return [
        Point(
            position=entry.data["position"],
            quantity=entry.data["quantity"],
            point=entry.data.get("point"),
            measured_at=entry.occurred_at,
            value=_canonical(entry.data, "value"),
            low=_canonical(entry.data, "low"),
            high=_canonical(entry.data, "high"),
            limit=_canonical(entry.data, "limit"),
            verdict=entry.data.get("verdict"),
            event=entry.event,
        )
        for entry in entries
        if entry.kind == "measured" and not entry.is_struck
    ]


def fitting_days(entries: list[Entry], position: str) -> list[datetime]:
    """Give when parts were fitted at a position; parts found there are no fitting."""
    return [
        entry.occurred_at
        for entry in entries
        if entry.kind == "part_fitted"
        and not entry.is_struck
        and entry.position == position
        and not entry.data.get("is_found")
    ]


def not_checked(entries: list[Entry], as_at: datetime) -> list[Entry]:
    """Give the positions whose last look, as at an instant, says 'not checked'."""
    last: dict[str, Entry] = {}
    for entry in entries:
        if entry.kind == "inspected" and not entry.is_struck and entry.occurred_at <= as_at:
            last[entry.data["position"]] = entry
    return [entry for entry in last.values() if entry.verdict == "not checked"]


def standing_notes(entries: list[Entry], as_at: datetime) -> list[Entry]:
    """Give the notes that stand as at an instant, by position."""
    found = [
        entry
        for entry in entries
        if entry.kind == "noted" and not entry.is_struck and entry.occurred_at <= as_at
    ]
    return sorted(found, key=lambda entry: entry.position or "")


def systems_not_looked_at(
    entries: list[Entry], as_at: datetime, systems: Collection[str]
) -> list[str]:
    """Give those of the systems that nobody looked at or measured by an instant."""
    seen = {
        entry.system
        for entry in entries
        if entry.kind in ("inspected", "measured")
        and entry.verdict != "not checked"
        and not entry.is_struck
        and entry.occurred_at <= as_at
    }
    return [system for system in systems if system not in seen]


def last_distance(entries: list[Entry], as_at: datetime) -> Entry | None:
    """Give the last distance that was read or told by an instant."""
    known = [
        entry
        for entry in entries
        if entry.kind == "distance_read" and not entry.is_struck and entry.occurred_at <= as_at
    ]
    return known[-1] if known else None


def last_looks(entries: list[Entry], as_at: datetime) -> dict[str, datetime]:
    """Give when each position was last looked at or measured, by an instant.

    What was said to be not checked is no look; a look covers the positions it names.
    """
    looks: dict[str, datetime] = {}
    for entry in entries:
        is_look = entry.kind in ("inspected", "measured") and entry.verdict != "not checked"
        if is_look and not entry.is_struck and entry.occurred_at <= as_at:
            for position in (entry.data["position"], *entry.data.get("covers", ())):
                looks[position] = entry.occurred_at
    return looks
