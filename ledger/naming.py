"""Where events name people, and whose a bike was when."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from ledger.state import live

if TYPE_CHECKING:
    from ledger.events import Event

PEOPLE = frozenset({"rider", "keeper", "payer", "by", "told_to", "handed_to", "may_approve"})
"""The payload fields that hold the id of a rider."""
ROLES = ("rider", "keeper", "payer")


@dataclass(frozen=True, slots=True)
class Time:
    """A stretch in which the same people ride, keep and pay for a bike."""

    rider: str | None
    keeper: str | None
    payer: str | None
    since: tuple[datetime, int]
    """(occurred_at, seq) of the change that began it."""
    until: tuple[datetime, int] | None
    """The next change; None where it lasts."""

    def roles_of(self, person: str) -> tuple[str, ...]:
        """Give what somebody is to the bike then: any of ROLES."""
        return tuple(role for role in ROLES if getattr(self, role) == person)

    def has(self, at: tuple[datetime, int]) -> bool:
        """Tell whether an event, by (occurred_at, seq), is in it."""
        return self.since <= at and (self.until is None or at < self.until)


def times_of(events: Iterable[Event]) -> list[Time]:
    """Give whose a bike was when, by its live `rider_changed` events, oldest first."""
    told = [event for event in live(list(events)) if event.kind == "rider_changed"]
    ends = [*(place_of(event) for event in told[1:]), None]
    return [
        Time(one.data.rider, one.data.keeper, one.data.payer, place_of(one), end)
        for one, end in zip(told, ends, strict=True)
        if one.kind == "rider_changed"
    ]


def place_of(event: Event) -> tuple[datetime, int]:
    """Give an event's place in its bike's life."""
    return event.occurred_at, event.seq or 0


def names(event: Event, person: str) -> bool:
    """Tell whether an event names somebody, in any field for people."""
    return _names(event.data, person)


def _names(value: Any, person: str) -> bool:
    if isinstance(value, tuple):
        return any(_names(inner, person) for inner in value)
    fields = getattr(type(value), "model_fields", None)
    if fields is None:
        return False
    for name in fields:
        inner = getattr(value, name)
        if name in PEOPLE:
            if inner == person or (isinstance(inner, tuple) and person in inner):
                return True
        elif _names(inner, person):
            return True
    return False


def masked(data: Any, person: str, instead: str) -> Any:
    """Give a payload (plain JSON types) with everybody but one person said as `instead`."""
    if isinstance(data, Mapping):
        return {name: _masked(name, inner, person, instead) for name, inner in data.items()}
    return [masked(inner, person, instead) for inner in data] if isinstance(data, list) else data


def _masked(name: str, value: Any, person: str, instead: str) -> Any:
    if name not in PEOPLE:
        return masked(value, person, instead)
    if isinstance(value, list):
        return [one if one == person else instead for one in value]
    return value if value in (person, None) else instead
