"""Tests of whether events come ever faster or slower, of one unit or pooled over units.

Each takes `Histories` and gives a `TrendTest`. Under no trend a unit's events, their number
given, are spread evenly over its watching: each unit may have a rate of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import chdtr, chdtrc, ndtr

from ledger.analysis.exact_chances import (
    chance_of_sum_below,
    chances_of_rising_pairs,
    count_rising_pairs,
)
from ledger.analysis.histories import Histories, IntArray
from ledger.analysis.life_bounds import refuse

Judgement = Literal["getting worse", "getting better", "no trend shown", "too few events to judge"]


@dataclass(frozen=True, slots=True)
class TrendTest:
    """What one test says of a trend; never a chance without a judgement in words."""

    name: str
    statistic: float
    """Laplace's z, chi-squared, or the count of rising pairs."""
    score: float
    """How far the statistic is from no trend, in standard deviations; above 0 is getting worse."""
    degrees_of_freedom: int | None
    count_events: int
    """Events used: without those that ended their unit's watching."""
    chance_worse: float
    """How likely, with no trend, events point at least so far to getting worse (one side)."""
    chance_better: float
    method: str
    """How the chances were worked out: exactly or not."""
    level: float
    judgement: Judgement
    words: str
    """The judgement with its grounds, for people."""

    @property
    def chance(self) -> float:
        """How likely, with no trend, events point at least so far to either side."""
        return min(1.0, 2 * min(self.chance_worse, self.chance_better))


def least_to_judge(level: float) -> int:
    """Give the fewest events whose order can be evidence at `level`: 2 / n! is at most 1 - level.

    With no trend all n! orders of the gaps between n events are equally likely, so that even the
    two most telling (each gap shorter, or longer, than the one before) come up with fewer events
    more often than that. 5 at 95 %, 4 at 80 % and 90 %.
    """
    count = 2
    while 2 / math.factorial(count) > 1 - level:
        count += 1
    return count


def laplace_of(of: Histories, level: float = 0.95, *, is_robust: bool = False) -> TrendTest:
    """Test whether events lie late or early in their units' watching, by the sum of their ages.

    z = sum(t - middle) / sqrt(sum of width² / 12). Exact chances by the distribution of a sum of
    uniforms (Irwin–Hall) for up to 12 events, else the normal ones. With `is_robust` the spread is
    that between units, sum of (each unit's sum)², and holds where events come in bunches; it needs
    many units. Sources: Cox and Lewis (1966); NIST e-Handbook, apr234; robust: Lawless, Çiğşar and
    Cook, Technometrics 54 (2012), 147.
    """
    used = of.without_closing_events()
    width = (used.end - used.start)[used.unit]
    apart = used.time - used.start[used.unit] - width / 2
    if is_robust:
        spread = float(np.sum(np.bincount(used.unit, weights=apart) ** 2))
    else:
        spread = float(np.sum(width**2)) / 12
    z = float(apart.sum()) / math.sqrt(spread) if spread > 0 else 0.0
    below = None if is_robust else chance_of_sum_below(float(apart.sum() + width.sum() / 2), width)
    if spread <= 0:
        method, worse, better = "exact (nothing to test)", 1.0, 1.0
    elif below is not None:
        method, worse, better = "exact (sum of uniforms)", 1 - below, below
    else:
        method = "normal, spread between units" if is_robust else "normal"
        worse, better = float(ndtr(-z)), float(ndtr(z))
    return _test("Laplace", z, z, None, len(used.time), worse, better, method, level)


def military_handbook_of(of: Histories, level: float = 0.95) -> TrendTest:
    """Test by chi-squared = 2 sum of ln(width / time since the start), df twice the events: exact.

    Large is getting better, small getting worse; it sees best what follows a power law. Raises
    `BadLives` for an event at its unit's very start. Source: MIL-HDBK-189 (1981); NIST e-Handbook,
    apr234.
    """
    used = of.without_closing_events()
    since = used.time - used.start[used.unit]
    refuse(since <= 0, "time_of_event", "it is at its unit's start", "Give a later age")
    statistic = 2 * float(np.log((used.end - used.start)[used.unit] / since).sum())
    freedom = 2 * len(since)
    worse = float(chdtr(freedom, statistic)) if freedom else 1.0
    better = float(chdtrc(freedom, statistic)) if freedom else 1.0
    score = (freedom - statistic) / math.sqrt(2 * freedom) if freedom else 0.0
    given = ("MIL-HDBK-189", statistic, score, freedom, freedom // 2)
    return _test(*given, worse, better, "exact (chi-squared)", level)


def reverse_arrangements_of(of: Histories, level: float = 0.95) -> TrendTest:
    """Test by the pairs of gaps, an earlier one shorter than a later one, within each unit.

    The first gap runs from the start of watching; many rising pairs are getting better. Of equal
    gaps the statistic counts no pair, as NIST does; score and chances take them against the
    trend, so that the score is 0 where they could turn it either way.
    It holds for any gaps that are alike and independent, and takes longest of the tests (the
    square of a unit's events). Exact chances by the counts of orders for up to 1,000 pairs; else
    the normal ones with half a pair taken off. Source: NIST e-Handbook, apr234.
    """
    order = np.argsort(of.time)
    order = order[np.argsort(of.unit[order], kind="stable")]  # five times as fast as lexsort
    unit, time = of.unit[order], of.time[order]
    is_first = np.append(True, unit[1:] != unit[:-1])[: len(unit)]
    gap = time - np.where(is_first, of.start[unit], np.append(0.0, time[:-1])[: len(unit)])
    rising, equal = count_rising_pairs(unit, gap)
    lengths = of.count_of_unit
    middle, deviation = float(np.sum(lengths * (lengths - 1))) / 4, _deviation(lengths)
    chances = chances_of_rising_pairs(lengths)
    if chances is None:
        method = "normal, half a pair off"
        worse = float(ndtr((rising + equal + 0.5 - middle) / deviation))
        better = float(ndtr((middle - rising + 0.5) / deviation))
    else:
        method = "exact (orders of the gaps)"
        worse = min(1.0, float(chances[: rising + equal + 1].sum()))
        better = min(1.0, float(chances[rising:].sum()))
    off = max(middle - rising - equal, 0.0) + min(middle - rising, 0.0)
    score = off / deviation if deviation > 0 else 0.0
    given = ("reverse arrangements", float(rising), score, None, len(gap))
    return _test(*given, worse, better, method, level)


def _deviation(lengths: IntArray) -> float:
    """Give the spread (1 sd) of the count of rising pairs of sequences in random order."""
    size = lengths.astype(np.float64)
    return math.sqrt(float(np.sum(size * (size - 1) * (2 * size + 5))) / 72)


def nist_score(rising: float, count: int) -> float:
    """Give the z that NIST's e-Handbook (apr234) prints for rising pairs of `count` gaps.

    It adds half a pair whatever the side, and above 0 is getting better.
    """
    return (rising - count * (count - 1) / 4 + 0.5) / _deviation(np.array([count]))


def _test(
    name: str,
    statistic: float,
    score: float,
    freedom: int | None,
    count: int,
    worse: float,
    better: float,
    method: str,
    level: float,
) -> TrendTest:
    judgement, words = _judged(count, worse, better, level)
    chances = (count, worse, better, method, level, judgement, words)
    return TrendTest(name, statistic, score, freedom, *chances)


def _judged(count: int, worse: float, better: float, level: float) -> tuple[Judgement, str]:
    least = least_to_judge(level)
    if count < least:
        return "too few events to judge", f"too few events to judge ({count}; at least {least})"
    chance = min(1.0, 2 * min(worse, better))
    said = f"{count} events; chance alone does as much in {_percent(chance)} of cases"
    if chance > 1 - level:
        return "no trend shown", f"no trend shown ({said})"
    judgement: Judgement = "getting worse" if worse < better else "getting better"
    return judgement, f"{judgement} ({said})"


def _percent(chance: float) -> str:
    if chance < 0.001:
        return "less than 0.1 %"
    return f"{100 * chance:.1f} %" if chance < 0.0995 else f"{100 * chance:.0f} %"
