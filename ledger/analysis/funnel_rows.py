"""Units judged beside one another: what they had, what chance would give them, and the words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ledger.analysis.funnel_chances import Cells, CountArray, chances_of
from ledger.analysis.funnel_marks import (
    Held,
    Tails,
    attained_by_each,
    limits,
    p_values,
    tails_of,
    thresholds,
)
from ledger.analysis.funnel_power import powers
from ledger.analysis.life_bounds import FloatArray, TooFewLives

Mark = Literal["more than chance", "fewer than chance"]

ENOUGH = 0.8
"""From this power on a unit that is not marked is not 'too few to judge'."""


@dataclass(frozen=True, slots=True)
class Rule:
    """By what units are marked, and what the power is told of."""

    level: float
    held: Held
    inflation: float
    ratio: float


@dataclass(frozen=True, slots=True)
class FunnelRow:
    """One unit (a mechanic, a tier) beside all the others of the same strata."""

    unit: object
    size: int
    """Its repairs."""
    count: int
    """How many of them came back."""
    rate: float
    """count / size."""
    expected: float
    """How many would have, had they come back as those of all units in the same strata did."""
    adjusted_rate: float
    """The pooled rate times count / expected: the rate it would have with the mix of all."""
    worth: float
    """How many repairs of the usual mix, fully followed, it is judged by: expected / pooled."""
    low_count: int
    """The least and the greatest count that could be chance."""
    high_count: int
    low_rate: float
    """These two as adjusted rates."""
    high_rate: float
    p: float
    """How likely chance alone takes this unit this far out, either way."""
    p_shop: float
    """How likely, at most, chance alone takes any unit of the shop this far out."""
    power: float
    """How likely it would be marked, were its rate `Funnel.ratio` times that of the others."""
    words: str

    @property
    def mark(self) -> Mark | None:
        """Say how the count differs from what chance gives; None where it does not."""
        if self.low_count <= self.count <= self.high_count:
            return None
        return "more than chance" if self.count > self.high_count else "fewer than chance"

    @property
    def is_marked(self) -> bool:
        """Say whether the count is not put down to chance."""
        return self.mark is not None


@dataclass(frozen=True, slots=True)
class Funnel:
    """All units, in order of their names, and what they were held against."""

    rows: tuple[FunnelRow, ...]
    pooled_rate: float
    level: float
    held: Held
    inflation: float
    """How many times wider than for independent repairs the variance is taken to be."""
    ratio: float
    """What `power` is about: the rate of one unit over that of the others."""


def judged(
    names: Sequence[object], cells: Cells, count: CountArray, size: CountArray, rule: Rule
) -> Funnel:
    """Give the funnel of units by their counts, their sizes and the cells events fell in."""
    if not size.sum():
        raise TooFewLives("repairs", "size", "there are none", "A funnel needs repairs")
    tails = [tails_of(each) for each in chances_of(cells, rule.inflation)]
    pooled = float(count.sum() / size.sum())
    expected = cells.expected
    worth = expected / pooled if pooled else size.astype(np.float64)
    columns = zip(
        names, count.tolist(), size.tolist(), expected.tolist(), worth.tolist(),
        *_marking(tails, count, rule), _powers(tails, worth, pooled, rule).tolist(), strict=True,
    )  # fmt: skip
    rows = tuple(_row(*each, pooled=pooled, ratio=rule.ratio) for each in columns)
    return Funnel(rows, pooled, rule.level, rule.held, rule.inflation, rule.ratio)


def _marking(
    tails: Sequence[Tails], count: CountArray, rule: Rule
) -> tuple[list[tuple[int, int]], list[float], list[float]]:
    """Give each unit's limits, its own p-value and that of the shop."""
    alone, shop = attained_by_each(tails, "unit"), attained_by_each(tails, "shop")
    most = thresholds(shop if rule.held == "shop" else alone, 1 - rule.level)
    bounds = [limits(*each) for each in zip(tails, most, strict=True)]
    return bounds, p_values(tails, alone, count).tolist(), p_values(tails, shop, count).tolist()


def _powers(tails: Sequence[Tails], worth: FloatArray, pooled: float, rule: Rule) -> FloatArray:
    """Give the units' power, as if of one stratum, fully followed and independent."""
    found = np.zeros(len(tails))
    which = np.flatnonzero([each.is_open for each in tails])
    sizes = np.rint(worth / rule.inflation).astype(np.int64)
    if 0 < pooled < 1 and len(which) > 1:
        found[which] = powers(
            np.maximum(sizes, 1), pooled, rule.ratio, level=rule.level, held=rule.held, which=which
        )
    return found


def _row(
    unit: object,
    count: int,
    size: int,
    expected: float,
    worth: float,
    bounds: tuple[int, int],
    p: float,
    p_shop: float,
    power: float,
    *,
    pooled: float,
    ratio: float,
) -> FunnelRow:
    rate = count / size if size else 0.0
    each = 1 / worth if worth else 0.0
    adjusted = count * each if worth else rate
    low, high = bounds
    words = _words(count, size, bounds, power, ratio)
    rates = (low * each, min(high * each, 1.0))
    head = (unit, size, count, rate, expected, adjusted, worth, low, high)
    return FunnelRow(*head, *rates, p, p_shop, power, words)


def _words(count: int, size: int, bounds: tuple[int, int], power: float, ratio: float) -> str:
    low, high = bounds
    seen = f"{count} of {size} came back"
    chance = f"{low} to {high} could be chance"
    if not size or low == high:
        return f"too few to judge: {seen}, with nothing to hold that against"
    if not low <= count <= high:
        return f"{'more' if count > high else 'fewer'} than chance: {seen}, {chance}"
    if power < ENOUGH:
        by = "doubled" if ratio == 2 else f"{ratio:g} times higher" if ratio > 1 else f"{ratio:g}"
        told = f"a {by} rate would be seen {in_shops_of_ten(power)}"
        return f"too few to judge: with {size} repairs {told}"
    return f"no more than chance: {seen}, {chance}"


def in_shops_of_ten(power: float) -> str:
    """Say how likely something is seen as so many shops of ten."""
    if power < 0.05:
        return "hardly ever"
    if power > 0.95:
        return "nearly always"
    count = max(round(10 * power), 1)
    return f"in {count} {'shop' if count == 1 else 'shops'} of 10"
