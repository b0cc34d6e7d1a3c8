"""Pressures: tyres and suspension, and the lowest maximum of what carries the air."""

from __future__ import annotations

from datetime import datetime
from decimal import InvalidOperation
from typing import TYPE_CHECKING

from ledger.bench.gauges import gauges_for
from ledger.bench.shapes import PressureItem, PressureSource
from ledger.bench.walk import PRESSURED
from ledger.events import kinds
from ledger.rules.pressures import carriers, lowest_maximum, maximum_of
from ledger.vocabulary import standard
from ledger.vocabulary.units import UnitProblem, canonical

if TYPE_CHECKING:
    from ledger.bench.scene import Scene
    from ledger.events import Event

PRESSURE = "pressure"


def pressures_of(scene: Scene, job: str | None, now: datetime) -> tuple[PressureItem, ...]:
    """Give the tyres, and the suspension where there is any with air in it."""
    entered = _last_entered(scene)
    known = scene.state.fitted.keys() | entered.keys()
    return tuple(
        _item(scene, position, job, entered.get(position), now)
        for position in PRESSURED
        if position in known or position.endswith(".tyre")
    )


def _last_entered(scene: Scene) -> dict[str, kinds.Adjusted]:
    found: dict[str, kinds.Adjusted] = {}
    for event in scene.counted:
        if event.kind == "adjusted" and event.data.quantity == PRESSURE:
            found[event.data.position] = event
    return found


def _item(
    scene: Scene, position: str, job: str | None, entered: Event | None, now: datetime
) -> PressureItem:
    sources = _sources(scene, position)
    lowest = lowest_maximum(scene.state.fitted, position)
    last = scene.state.settings.get((position, PRESSURE, None))
    unit = scene.words.quantities[PRESSURE].unit
    told = entered.data if entered is not None and entered.kind == "adjusted" else None
    is_of_job = entered is not None and job is not None and entered.job == job
    return PressureItem(
        position=position,
        unit=told.after.unit if told and told.after else unit,
        canonical_unit=unit,
        last=last,
        sources=sources,
        maximum=lowest[0] if lowest else None,
        set_by=lowest[1] if lowest else None,
        unknown=tuple(one.position for one in sources if one.maximum is None),
        tools=gauges_for(scene, PRESSURE, told.tool if told else None, now),
        done=last if is_of_job else None,
    )


def _sources(scene: Scene, position: str) -> tuple[PressureSource, ...]:
    """Give what bounds the pressure; an insert only where one is known on the bike."""
    fitted = scene.state.fitted
    return tuple(
        PressureSource(at, fitted[at].part if at in fitted else None, maximum_of(fitted, at))
        for at in carriers(position)
        if not at.endswith(".insert") or at in scene.on_bike
    )


def over_maximum(item: PressureItem, value: str, unit: str) -> str | None:
    """Give the caution for a typed pressure above the lowest known maximum, in a sentence.

    None where it is not above it, cannot be read, or no maximum is known: which never means
    that it is safe.
    """
    if item.maximum is None or item.set_by is None:
        return None
    try:
        figure = canonical(standard().quantities[PRESSURE], value.replace(",", "."), unit)
    except (UnitProblem, InvalidOperation, ValueError):
        return None
    if figure <= item.maximum:
        return None
    word = standard().positions.get(item.set_by)
    most = f"{item.maximum.normalize():f} {item.canonical_unit}"
    return (
        f"{value.strip()} {unit} is above the lowest maximum known here, {most} of the "
        f"{word.label if word else item.set_by}. Let air out: the lowest maximum of tyre, "
        "rim and insert decides, as their makers say."
    )
