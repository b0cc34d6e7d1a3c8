"""When this shop's chains are best changed: one cost curve for each limit its chains have."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from ledger.analysis.rider_rates import RiderRates
from ledger.analysis.sprockets import SprocketSeen
from ledger.analysis.thresholds import (
    ChainRates,
    CostCurve,
    SprocketCost,
    cost_curve,
    seen_thresholds,
)
from ledger.analysis.unfit import CannotFit
from ledger.figures.chain_report import LimitCurve, ThresholdCost
from ledger.figures.chain_stretches import Run
from ledger.figures.prices import PartPrice

PriceOf = Callable[[str, float], PartPrice | None]
"""(sort, limit of the bike's chains) -> its price here."""
LEAST_CHANGED = 10
"""Fewer changed chains of one limit give no range of thresholds."""


def curves_of(
    runs: Sequence[Run],
    rates: RiderRates | None,
    seen: Mapping[str, SprocketSeen],
    tooth_limits: Mapping[str, float],
    changed: Mapping[float, Sequence[float]],
    price: PriceOf,
) -> tuple[tuple[LimitCurve, ...], list[str]]:
    """Give a curve for each limit, and for the others why there is none.

    `changed` holds the elongations at which chains of each limit were changed. A limit of bikes
    for which no cassette was ever charged (single speed, hub gears) has no curve.
    """
    curves, without = [], []
    for limit, changed_at in sorted(changed.items()):
        why = _why_none(limit, len(changed_at), seen, price)
        if why or rates is None:
            without.append(f"{_named(limit)}: {why or 'no rate of chains is known'}")
            continue
        try:
            curves.append(_curve(limit, changed_at, runs, rates, seen, tooth_limits, price))
        except CannotFit as error:
            without.append(f"{_named(limit)}: {error}")
    return tuple(curves), without


def _named(limit: float) -> str:
    return f"cost by threshold at a limit of {limit:g} %"


def _why_none(
    limit: float, count_changed: int, seen: Mapping[str, SprocketSeen], price: PriceOf
) -> str:
    """Say why a limit has no curve: which part has no price, or what was seen too little of."""
    unpriced = [sort for sort in ("chain", "cassette") if price(sort, limit) is None]
    if unpriced:
        return f"no {' and no '.join(unpriced)} was charged"
    if count_changed < LEAST_CHANGED:
        return f"too little was seen, {count_changed} changed chains of {LEAST_CHANGED} needed"
    return "" if "cassette" in seen else "too little was seen of how cassettes wear"


def _curve(
    limit: float,
    changed_at: Sequence[float],
    runs: Sequence[Run],
    rates: RiderRates,
    seen: Mapping[str, SprocketSeen],
    tooth_limits: Mapping[str, float],
    price: PriceOf,
) -> LimitCurve:
    prices = {sort: price(sort, limit) for sort in ("chain", "cassette", "chainring")}
    known = {sort: one for sort, one in prices.items() if one is not None}
    cost = {
        sort: SprocketCost(seen[sort], known[sort].fitted_minor, tooth_limits[sort])
        for sort in ("cassette", "chainring")
        if sort in known and sort in seen
    }
    rings = [cost["chainring"]] if "chainring" in cost else []
    found = cost_curve(
        seen_thresholds(changed_at),
        limit,
        _rates_of(limit, runs, rates),
        known["chain"].fitted_minor,
        cost["cassette"],
        rings,
    )
    count = len(seen["cassette"].wear)
    return LimitCurve(limit, _costs(found), found.least_at, known, len(changed_at), count)


def _rates_of(limit: float, runs: Sequence[Run], rates: RiderRates) -> ChainRates:
    """Give the rates of riders of chains with this limit, each weighing the km seen."""
    own = [run for run in runs if run.limit == limit]
    who, place = np.unique([run.code for run in own], return_inverse=True)
    km = np.bincount(place, weights=[run.km for run in own]).astype(np.float64)
    pace = rates.pace(who)
    return ChainRates(who.astype(np.int64), pace * rates.shop_rate, km, pace)


def _costs(found: CostCurve) -> tuple[ThresholdCost, ...]:
    near = set(found.near_least.tolist())
    columns = (found.thresholds, found.cost, found.low, found.high, found.chains_a_cassette)
    figures = np.column_stack([*columns, found.chance_near_least]).tolist()
    return tuple(
        ThresholdCost(at, cost, low, high, count, chance, at in near)
        for at, cost, low, high, count, chance in figures
    )
