"""Which gears each bike is ridden in, from readings of single sprockets."""

from __future__ import annotations

import math
from collections.abc import Iterable

from ledger.analysis.gears import Gears, gears, teeth_of
from ledger.figures.chain_report import BikeGears, GearWear
from ledger.figures.chain_stretches import Stretch


def gears_of(stretches: Iterable[Stretch]) -> tuple[BikeGears, ...]:
    """Give the gears of every bike whose sprockets were measured by tooth count.

    Bikes that tell most come first: most sprockets beside another, then most readings.
    """
    by_bike: dict[str, list[tuple[int, Stretch]]] = {}
    for one in stretches:
        teeth = teeth_of(one.point)
        if teeth is not None:
            by_bike.setdefault(one.bike, []).append((teeth, one))
    return tuple(sorted((_bike(bike, rows) for bike, rows in by_bike.items()), key=_tells_least))


def _tells_least(one: BikeGears) -> tuple[int, int, str]:
    shared = sum(gear.share is not None for gear in one.gears)
    return -shared, -sum(gear.count for gear in one.gears), one.bike


def _bike(bike: str, rows: list[tuple[int, Stretch]]) -> BikeGears:
    found = gears(
        [teeth for teeth, _ in rows],
        [one.wear for _, one in rows],
        [one.km for _, one in rows],
        [one.error for _, one in rows],
        count_samples=400,
    )
    return BikeGears(bike, rows[-1][1].who, tuple(_gear(found, i) for i in range(len(found.teeth))))


def _gear(found: Gears, index: int) -> GearWear:
    shares = [float(getattr(found, f"share{end}")[index]) for end in ("", "_low", "_high")]
    known = [None if math.isnan(share) else share for share in shares]
    return GearWear(
        int(found.teeth[index]),
        int(found.count[index]),
        float(found.rate[index]),
        float(found.rate_low[index]),
        float(found.rate_high[index]),
        *known,
    )
