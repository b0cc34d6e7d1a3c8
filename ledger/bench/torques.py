"""The torque pass: everything disturbed and not torqued since, what is hidden first."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from graphlib import CycleError, TopologicalSorter
from typing import TYPE_CHECKING

from ledger.bench.gauges import gauges_for
from ledger.bench.shapes import HiddenBy, HiddenState, TorqueItem
from ledger.events import kinds
from ledger.state.apply import figure, is_at_or_under
from ledger.view import Setting

if TYPE_CHECKING:
    from ledger.bench.scene import Scene
    from ledger.events import Event


def torques_of(scene: Scene, now: datetime) -> tuple[TorqueItem, ...]:
    """Give what is to be torqued, a position before those that hide it."""
    by_id = {event.id: event for event in scene.counted}
    set_before = _set_before(scene.counted)
    return tuple(
        _item(scene, position, by_id[scene.state.disturbed[position]], set_before, now)
        for position in _hidden_first(scene)
    )


def torqued_in(scene: Scene, job: str | None) -> tuple[Setting, ...]:
    """Give the torques set in a job that nothing has voided since, by position."""
    of_job = {event.id for event in scene.of_job(job)} if job else set()
    standing = [one for one in scene.state.settings.values() if one.quantity == "torque"]
    found = [one for one in standing if one.event in of_job]
    return tuple(sorted(found, key=lambda one: (one.position, one.point or "")))


def _hidden_first(scene: Scene) -> list[str]:
    """Order what is disturbed so that a position stands before those that hide it."""
    disturbed = sorted(scene.state.disturbed)
    under = {
        position: [inner for inner in scene.words.positions[position].hides if inner in disturbed]
        for position in disturbed
    }
    try:
        return list(TopologicalSorter(under).static_order())
    except CycleError:
        return disturbed  # A shop's own words may hide two positions by each other.


def _set_before(counted: Iterable[Event]) -> dict[str, list[kinds.Adjusted]]:
    """Give every torque ever set, by position, oldest first."""
    found: dict[str, list[kinds.Adjusted]] = {}
    for event in counted:
        if event.kind == "adjusted" and event.data.quantity == "torque":
            found.setdefault(event.data.position, []).append(event)
    return found


def _item(
    scene: Scene,
    position: str,
    disturbed: Event,
    set_before: dict[str, list[kinds.Adjusted]],
    now: datetime,
) -> TorqueItem:
    before = set_before.get(position, [])
    last = before[-1] if before else None
    low, high, told = _makers_range(scene, position)
    unit = scene.words.quantities["torque"].unit
    return TorqueItem(
        position=position,
        disturbed_at=disturbed.occurred_at,
        disturbed_by=disturbed.id,
        actor=disturbed.actor,
        unit=last.data.after.unit if last and last.data.after else unit,
        canonical_unit=unit,
        last=_setting(last, unit) if last else None,
        last_tool=last.data.tool if last else None,
        maker_low=low,
        maker_high=high,
        maker_event=told,
        thread=next((one.data.thread for one in reversed(before) if one.data.thread), None),
        hidden_by=_hidden_by(scene, position),
        tools=gauges_for(scene, "torque", last.data.tool if last else None, now),
    )


def _setting(event: kinds.Adjusted, unit: str) -> Setting | None:
    value, data = figure(event.data.after), event.data
    if value is None:
        return None
    return Setting(data.position, "torque", data.point, value, unit, event.occurred_at, event.id)


def _makers_range(scene: Scene, position: str) -> tuple[Decimal | None, Decimal | None, str | None]:
    """Give the maker's range for what is there now, as last entered, or as its fitting told.

    A range entered for a part that has come off since is not given: it was another part's.
    """
    for event in reversed(scene.counted):
        if _changes(event, position):
            break
        if event.kind == "adjusted" and event.data.quantity == "torque":
            low, high = figure(event.data.maker_low), figure(event.data.maker_high)
            if event.data.position == position and (low, high) != (None, None):
                return low, high, event.id
    there = scene.state.fitted.get(position)
    limits = there.event.data.limits if there is not None else ()
    highest = [figure(one.limit) for one in limits if one.quantity == "torque"]
    if there is not None and highest:
        return None, highest[0], there.event.id
    return None, None, None


def _changes(event: Event, position: str) -> bool:
    """Tell whether an event puts another part at a position, or takes what it is under off."""
    if event.kind == "part_fitted":
        return not event.data.is_found and is_at_or_under(position, event.data.position)
    return event.kind == "part_removed" and is_at_or_under(position, event.data.position)


def _hidden_by(scene: Scene, position: str) -> tuple[HiddenBy, ...]:
    """Give what one has to disturb to reach a position, and how each stands now."""
    torqued = {place[0] for place in scene.state.settings if place[1] == "torque"}
    off = _came_off(scene.counted)

    def state_of(outer: str) -> HiddenState:
        if outer in off:
            return "off"
        return "on, torqued" if outer in torqued else "on, not torqued"

    there = scene.on_bike | off | scene.state.disturbed.keys()
    return tuple(
        HiddenBy(outer, state_of(outer))
        for outer in sorted(scene.words.torque_voided_by(position) & there)
    )


def _came_off(counted: Iterable[Event]) -> frozenset[str]:
    """Give the positions whose part came off and that got none since."""
    found: set[str] = set()
    for event in counted:
        if event.kind == "part_removed":
            found.add(event.data.position)
        elif event.kind == "part_fitted":
            found.discard(event.data.position)
    return frozenset(found)
