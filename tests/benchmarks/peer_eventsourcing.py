"""Bikes kept with the `eventsourcing` library: an aggregate a bike, on its SQLite recorder.

`Bike` folds what is fitted, what the odometer said and how many events there were: less than
Lockring's state, so what it takes is the least it would. `WholeBike` folds the whole state, by the
same steps as the fold in Python. As at an instant is the version that the bike had then; events are
saved in the order they occurred, since a version knows no other.
"""

from __future__ import annotations

import json
from itertools import islice
from pathlib import Path
from typing import Any
from uuid import NAMESPACE_OID, UUID, uuid5

from eventsourcing.application import Application
from eventsourcing.domain import Aggregate, event

from ledger.events.stored import stored_event
from ledger.state import apply, start
from ledger.vocabulary import standard

Event = dict[str, Any]
_AT_ONCE = 25


class Bike(Aggregate):
    """A bike, folded event by event."""

    @event("Registered")
    def __init__(self, tag: str) -> None:
        self.tag = tag
        self.fitted: dict[str, str] = {}
        self.distance_km: str | None = None
        self.count = 0

    @staticmethod
    def create_id(tag: str) -> UUID:
        """Give the id that a bike's tag has."""
        return uuid5(NAMESPACE_OID, tag)

    @event("PartFitted")
    def fit(self, position: str, part: str, data: str) -> None:
        """A part came to sit somewhere."""
        self.fitted[position] = part
        self.count += 1

    @event("PartRemoved")
    def remove(self, position: str, data: str) -> None:
        """A part was taken off."""
        self.fitted.pop(position, None)
        self.count += 1

    @event("DistanceRead")
    def read(self, distance_km: str, data: str) -> None:
        """The odometer was read."""
        self.distance_km = distance_km
        self.count += 1

    @event("Noted")
    def note(self, kind: str, data: str) -> None:
        """Whatever else happened."""
        self.count += 1


class WholeBike(Aggregate):
    """A bike of which everything is folded."""

    @event("Begun")
    def __init__(self, tag: str) -> None:
        self.state = start("", tag)

    @staticmethod
    def create_id(tag: str) -> UUID:
        """Give the id that a bike's tag has."""
        return uuid5(NAMESPACE_OID, f"whole {tag}")

    @event("Recorded")
    def record(self, canonical: str) -> None:
        """Something happened."""
        self.state = apply(self.state, stored_event(json.loads(canonical)), standard())


class Bikes(Application[UUID]):
    """The bikes of a shop."""


def opened(file: Path) -> Bikes:
    """Open, or begin, the bikes kept in a file."""
    return Bikes(
        env={
            "PERSISTENCE_MODULE": "eventsourcing.sqlite",
            "SQLITE_DBNAME": str(file),
        }
    )


def build(bikes: dict[str, list[Event]], file: Path) -> None:
    """Write bikes by tag: their live events as dicts of hot columns, in the order they occurred."""
    kept = opened(file)
    rest = iter(bikes.items())
    while some := list(islice(rest, _AT_ONCE)):
        made: list[Aggregate] = []
        for tag, events in some:
            bike, whole = Bike(tag), WholeBike(tag)
            for one in events:
                _record(bike, one)
                whole.record(one["canonical"].decode())
            made += [bike, whole]
        kept.save(*made)
    kept.close()


def _record(bike: Bike, one: Event) -> None:
    data = json.dumps(json.loads(one["canonical"])["data"])
    if one["kind"] == "part_fitted":
        bike.fit(one["position"], one["part"], data)
    elif one["kind"] == "part_removed":
        bike.remove(one["position"], data)
    elif one["kind"] == "distance_read" and one["distance_km"] is not None:
        bike.read(str(one["distance_km"]), data)
    else:
        bike.note(one["kind"], data)
