"""What the rules need of other bikes: where a part is, whose a job is, whose clock runs."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Sequence, Set
from datetime import timedelta
from typing import Any
from uuid import UUID

from ledger.events import Event
from ledger.events.stored import stored_event
from ledger.state import in_order, live, made_up_part
from ledger.storage.reading import Reader, Row

_CLOCKS_LOOK_BACK = timedelta(days=31)
_MOVES = ("part_fitted", "part_removed")
_CLOCKS = ("labour_started", "labour_stopped")


def parsed(rows: Iterable[Row]) -> list[Event]:
    """Give the events of stored rows."""
    return [stored_event(json.loads(canonical)) for _, _, canonical in rows]


def parts_of(event: Event) -> tuple[str, ...]:
    """Give the part ids that a fitting or removal names."""
    if event.kind == "part_fitted":
        named = (event.data.part, event.data.replaces)
    elif event.kind == "part_removed":
        named = (event.data.part, None)
    else:
        return ()
    return tuple(part for part in named if part is not None)


def surroundings(reader: Reader, new: Sequence[Event]) -> dict[str, Any]:
    """Give the facts about other bikes that a commit's events call for, as BookFacts names them."""
    targets = _targets(reader, new)
    parts = frozenset(part for event in (*new, *targets.values()) for part in parts_of(event))
    jobs = frozenset(event.job for event in new if event.kind == "job_opened" and event.job)
    actors = frozenset(event.actor for event in new if event.kind in _CLOCKS)
    since = min((event.occurred_at for event in new), default=None)
    stored = parsed(reader.naming(parts, jobs, actors, since and since - _CLOCKS_LOOK_BACK))
    struck = _struck(reader, (*targets.values(), *stored))
    counted = [event for event in live([*stored, *new]) if event.id not in struck]
    return {
        "part_events": _by_part(counted, parts),
        "labour_events": _by_actor(counted),
        "job_bikes": _job_bikes(counted, jobs, {event.id for event in new}),
        "targets": targets,
        "struck": struck,
    }


def _targets(reader: Reader, new: Sequence[Event]) -> dict[str, Event]:
    """Give the stored events that strikes and restores name, by id."""
    asked = {event.data.target for event in new if event.kind == "event_struck"}
    asked |= {event.restores for event in new if event.restores is not None}
    rows = reader.with_ids(UUID(one).bytes for one in asked)
    return {event.id: event for event in parsed(rows.values())}


def _struck(reader: Reader, events: Iterable[Event]) -> frozenset[str]:
    """Tell which of some stored events are struck already."""
    strikes = parsed(reader.strikes_of(frozenset(UUID(event.id).bytes for event in events)))
    return frozenset(e.data.target for e in strikes if e.kind == "event_struck")


def _by_part(counted: Iterable[Event], parts: frozenset[str]) -> dict[str, list[Event]]:
    """Give the moves of each part, with the removals that name none where it was fitted."""
    found: dict[str, list[Event]] = defaultdict(list)
    unnamed: dict[tuple[str | None, str], list[Event]] = defaultdict(list)
    for event in in_order(counted):
        if event.kind == "part_removed" and event.data.part is None:
            unnamed[event.bike, event.data.position].append(event)
        is_nameless = event.kind == "part_fitted" and event.data.part is None
        for part in (*parts_of(event), *([made_up_part(event.id)] if is_nameless else [])):
            if part in parts:
                found[part].append(event)
    for moves in found.values() if unnamed else ():
        places = {(move.bike, move.data.position) for move in moves if move.kind == "part_fitted"}
        moves += [removal for place in places for removal in unnamed.get(place, ())]
    return {part: in_order(moves) for part, moves in found.items()}


def _job_bikes(
    counted: Iterable[Event], jobs: Set[str], new_ids: Set[str]
) -> dict[str, str | None]:
    """Give the bike of each job: the stored one's before that of who opens it again."""
    opened = [event for event in counted if event.kind == "job_opened" and event.job in jobs]
    new = [event for event in opened if event.id in new_ids]
    stored = [event for event in opened if event.id not in new_ids]
    return {event.job: event.bike for event in (*reversed(new), *stored) if event.job}


def _by_actor(counted: Iterable[Event]) -> dict[str, list[Event]]:
    found: dict[str, list[Event]] = defaultdict(list)
    for event in in_order(counted):
        if event.kind in _CLOCKS:
            found[event.actor].append(event)
    return dict(found)
