"""Which events count as at an instant and as known to a seq, and in which order."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from ledger.events import Event

_NOT_YET = 2**63
"""Stands for the seq of an event that is about to be recorded: after all that are."""


def order_key(event: Event) -> tuple[datetime, int]:
    """Give what events are ordered by: when they occurred, ties by seq."""
    return event.occurred_at, _NOT_YET if event.seq is None else event.seq


def in_order(events: Iterable[Event]) -> list[Event]:
    """Give events by (occurred_at, seq); those without a seq keep their order, as the newest."""
    return sorted(events, key=order_key)


def live(
    events: Iterable[Event], as_at: datetime | None = None, known_seq: int | None = None
) -> list[Event]:
    """Give the events that count, in order: known, occurred, no strike and not struck.

    A strike works on knowledge: it counts by its seq alone, whenever it says it occurred.
    Without `as_at` time has no end; without `known_seq` everything is known.
    """
    known = [event for event in events if known_seq is None or order_key(event)[1] <= known_seq]
    struck = {event.data.target for event in known if event.kind == "event_struck"}
    return in_order(
        event
        for event in known
        if event.kind != "event_struck"
        and event.id not in struck
        and (as_at is None or event.occurred_at <= as_at)
    )


def same_bike(
    events: Iterable[Event], shop: str, bike: str, known_seq: int | None = None
) -> frozenset[tuple[str, str]]:
    """Give every (shop, tag) that links make one with a bike, the bike itself included.

    `events` are any of the book's events with every `bike_linked` and every strike of one.
    """
    links = [event for event in live(events, None, known_seq) if event.kind == "bike_linked"]
    pairs = [
        {(end.shop or link.shop, end.bike) for end in (link.data.first, link.data.second)}
        for link in links
    ]
    joined = {(shop, bike)}
    while wider := [pair for pair in pairs if pair & joined and not pair <= joined]:
        joined = joined.union(*wider)
    return frozenset(joined)
