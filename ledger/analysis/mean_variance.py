"""Variances of a mean cumulative function, in O(n log n) of its units and events."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ledger.analysis.histories import Histories, IntArray
from ledger.analysis.life_bounds import FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class RiskSets:
    """Events and watching put on the ages at which anything happened: `time`, shape (k,)."""

    time: FloatArray
    bin: IntArray
    """Of each event: where its age stands in `time`."""
    first: IntArray
    """Of each unit: the first of `time` at which it is watched; k if none."""
    past: IntArray
    """Of each unit: the first of `time` at which it is watched no more; k if none."""
    at_risk: FloatArray
    """Units watched at each of `time`."""

    def summed(self, figure: FloatArray) -> FloatArray:
        """Add up a figure of each event over the events of each of `time`."""
        return np.bincount(self.bin, weights=figure, minlength=len(self.time))


def risk_sets(of: Histories) -> RiskSets:
    """Put histories on the ages at which anything happened."""
    time, place = np.unique(of.time, return_inverse=True)
    past = _places(time, of.end)
    first = np.where(of.start > 0, _places(time, of.start), 0) if of.start.any() else 0 * past
    count = len(time) + 1
    change = np.bincount(first, minlength=count) - np.bincount(past, minlength=count)
    return RiskSets(time, place, first, past, np.cumsum(change)[:-1].astype(np.float64))


def _places(time: FloatArray, ages: FloatArray) -> IntArray:
    """Give how many of `time` are at or before each age; sorting first is faster by far."""
    order = np.argsort(ages)
    place = np.empty(len(ages), dtype=np.int64)
    place[order] = np.searchsorted(time, ages[order], side="right")
    return place


def robust_variance(sets: RiskSets, unit: IntArray, size: FloatArray, who: IntArray) -> FloatArray:
    """Give the variance at each of `sets.time` from how clusters differ, whatever the process.

    `who` is the cluster of each unit, `size` the weight of each event. With d the sum of sizes
    and n the units at risk at an age, cluster c's residual is R(t) = sum over the ages up to t of
    (sum of its sizes - its units at risk * d / n) / n, and the variance the sum of R². Lawless
    and Nadeau, Technometrics 37 (1995), p. 158; of single units, Nelson's naive form.

    R is kept as C - m * H, where H is the sum of d / n², m the units at risk and C changes only
    where an event, a start or an end of the cluster falls: sums of C², C m and m² are enough.
    """
    if not len(sets.time):
        return np.empty(0)
    steps = np.append(0.0, np.cumsum(sets.summed(size) / sets.at_risk**2))
    cluster, place, height, watched = _marks(sets, unit, size, who, steps)
    order = np.argsort(cluster * (len(sets.time) + 1) + place)
    cluster, place = cluster[order], place[order]
    before = np.append(True, cluster[1:] != cluster[:-1])
    height, watched = (_running(column[order], before) for column in (height, watched))
    pairs = ((height, height), (height, watched), (watched, watched))
    squares = [_accumulated(one * two, before, place, len(sets.time)) for one, two in pairs]
    step = steps[1:]
    found = squares[0] - 2 * step * squares[1] + step**2 * squares[2]
    noise = 1e-13 * (squares[0] + step**2 * squares[2])
    return np.where(found > noise, found, 0.0)


def _marks(
    sets: RiskSets, unit: IntArray, size: FloatArray, who: IntArray, steps: FloatArray
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Give all changes of (C, m): cluster, place in time, change of C, change of m."""
    is_met = sets.first < len(sets.time)
    is_left = sets.past < len(sets.time)
    first, past = sets.first[is_met], sets.past[is_left]
    share = size / sets.at_risk[sets.bin]
    cluster = np.concatenate([who[unit], who[is_met], who[is_left]])
    place = np.concatenate([sets.bin, first, past])
    height = np.concatenate([share, steps[first], -steps[past]])
    watched = np.concatenate([np.zeros(len(unit)), np.ones(len(first)), -np.ones(len(past))])
    return cluster, place, height, watched


def _running(change: FloatArray, is_first: np.ndarray) -> FloatArray:
    """Add up within each run of rows that begins where marked."""
    total = np.cumsum(change)
    begins = np.flatnonzero(is_first)
    base = np.append(0.0, total[begins[1:] - 1])
    return total - np.repeat(base, np.diff(np.append(begins, len(change))))


def _accumulated(
    value: FloatArray, is_first: np.ndarray, place: IntArray, count: int
) -> FloatArray:
    """Add over clusters the value each has from a place on."""
    rise = np.where(is_first, value, value - np.append(0.0, value[:-1]))
    return np.cumsum(np.bincount(place, weights=rise, minlength=count))


def increment_variance(sets: RiskSets, unit: IntArray, size: FloatArray) -> FloatArray:
    """Give the variance as if what happens to a unit at one age said nothing of another age.

    Sum over ages of sum over units at risk of (its size - d / n)² / n²: common in reliability
    software, too narrow or too wide wherever units differ or take turns.
    """
    if not len(sets.time):
        return np.empty(0)
    pair, place = np.unique(unit * len(sets.time) + sets.bin, return_inverse=True)
    own = np.bincount(place, weights=size)
    squares = np.bincount(pair % len(sets.time), weights=own**2, minlength=len(sets.time))
    spread = squares - sets.summed(size) ** 2 / sets.at_risk
    return np.cumsum(np.maximum(spread, 0.0) / sets.at_risk**2)


def poisson_variance(sets: RiskSets, size: FloatArray) -> FloatArray:
    """Give the variance as if every unit were a Poisson process of one and the same rate."""
    return np.cumsum(sets.summed(size**2) / sets.at_risk**2)
