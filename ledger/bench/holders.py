"""Who else is at this bike: from their events alone, for there are no locks."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from ledger.bench.shapes import Holder, OwnClock
from ledger.bench.walked import position_of

if TYPE_CHECKING:
    from ledger.bench.scene import Scene
    from ledger.events import Event

LOOK_BACK = timedelta(hours=12)
"""Entries of this job older than this say no longer that somebody is at the bike."""


def others_at(scene: Scene, actor: str, job: str | None, now: datetime) -> tuple[Holder, ...]:
    """Give the other mechanics whose clock runs on the bike, or who entered in the job lately.

    Whoever did something last comes first.
    """
    entered: dict[str, list[Event]] = {}
    for event in scene.of_job(job) if job else ():
        if event.actor != actor and event.occurred_at >= now - LOOK_BACK:
            entered.setdefault(event.actor, []).append(event)
    running = scene.state.running.keys() - {actor}
    found = [_holder(scene, who, entered.get(who, [])) for who in running | entered.keys()]
    return tuple(sorted(found, key=lambda one: (one.last_at, one.mechanic), reverse=True))


def _holder(scene: Scene, mechanic: str, entered: list[Event]) -> Holder:
    clock = scene.state.running.get(mechanic)
    at: dict[str, datetime] = {}
    for event in sorted(entered, key=lambda one: one.occurred_at):
        position = position_of(event)
        if position is not None:
            at.pop(position, None)
            at[position] = event.occurred_at
    times = [event.occurred_at for event in entered]
    return Holder(
        mechanic=mechanic,
        running_since=clock.occurred_at if clock else None,
        task=clock.data.task if clock else None,
        at=tuple(reversed(at.items())),
        last_at=max([*times, *([clock.occurred_at] if clock else [])]),
    )


def own_clock(scene: Scene, actor: str) -> OwnClock | None:
    """Give the clock of somebody on this bike; None where none of theirs runs here."""
    clock = scene.state.running.get(actor)
    if clock is None or clock.job is None:
        return None
    return OwnClock(clock.job, clock.data.task, clock.data.minutes_kind, clock.occurred_at)
