"""Variances of a mean cumulative function, in O(n log n) of its units and events."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ledger.analysis.histories import Histories, IntArray
from ledger.analysis.life_bounds import BoolArray, FloatArray

_MOST_WHOLE = 1_000_000
"""Whole ages up to which a table of all of them is worth its making."""


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
        total = np.bincount(self.bin, weights=figure, minlength=len(self.time))
        return total.astype(np.float64, copy=False)  # without events bincount counts


def risk_sets(of: Histories) -> RiskSets:
    """Put histories on the ages at which anything happened."""
    time, place = np.unique(of.time, return_inverse=True)
    past = _places(time, of.end)
    first = np.where(of.start > 0, _places(time, of.start), 0) if of.start.any() else 0 * past
    count = len(time) + 1
    change = np.bincount(first, minlength=count) - np.bincount(past, minlength=count)
    return RiskSets(time, place, first, past, np.cumsum(change)[:-1].astype(np.float64))


def _places(time: FloatArray, ages: FloatArray) -> IntArray:
    """Give how many of `time` are at or before each age; sorting first is faster by far.

    Whole ages, such as days, are looked up.
    """
    highest = float(ages.max(initial=0))
    if highest < _MOST_WHOLE and np.array_equal(ages, np.floor(ages)):
        known = np.searchsorted(time, np.arange(int(highest) + 1), side="right")
        return np.asarray(known[ages.astype(np.int64)], dtype=np.int64)
    order = np.argsort(ages)
    place = np.empty(len(ages), dtype=np.int64)
    place[order] = np.searchsorted(time, ages[order], side="right")
    return place


class Marks(NamedTuple):
    """Changes of clusters' (C, m), one row each: whose, at which of the ages, and by how much."""

    cluster: IntArray
    place: IntArray
    height: FloatArray
    watched: FloatArray


def robust_variance(sets: RiskSets, unit: IntArray, size: FloatArray, who: IntArray) -> FloatArray:
    """Give the variance at each of `sets.time` from how clusters differ, whatever the process.

    `who` is the cluster of each unit, `size` the weight of each event. With d the sum of sizes
    and n the units at risk at an age, cluster c's residual is R(t) = sum over the ages up to t of
    (sum of its sizes - its units at risk * d / n) / n, and the variance the sum of R². Lawless
    and Nadeau, Technometrics 37 (1995), 158.

    R is kept as C - m * H, where H is the sum of d / n², m the cluster's units at risk, and C
    changes only where an event, a start or an end of the cluster falls: the sums over clusters of
    C², C m and m² at each age are enough.
    """
    steps = np.append(0.0, np.cumsum(sets.summed(size) / sets.at_risk**2))
    is_quiet = (np.bincount(who)[who] == 1) & (np.bincount(unit, minlength=len(who)) == 0)
    sums = _sums_of_quiet(sets, is_quiet, steps)
    sums += _sums_of_others(_marks(sets, unit, size, who, is_quiet, steps), len(sets.time))
    heights, mixed, watched = np.cumsum(sums, axis=1)
    step = steps[1:]
    found: FloatArray = heights - 2 * step * mixed + step**2 * watched
    noise = 1e-13 * (heights + step**2 * watched)
    return np.where(found > noise, found, 0.0)


def _sums_of_quiet(sets: RiskSets, is_quiet: BoolArray, steps: FloatArray) -> FloatArray:
    """Give the changes of the sums (C², C m, m²) at each age by units without events.

    Such a unit brings C = the step at its start, m = 1, and leaves with C less the step at its
    end, m = 0: all that count are how many come and go at each age, and from which steps.
    """
    first, past = sets.first[is_quiet], sets.past[is_quiet]
    met, left = (np.bincount(place, minlength=len(steps)) for place in (first, past))
    begun = np.bincount(past, weights=steps[first], minlength=len(steps))
    heights = met * steps**2 + left * steps**2 - 2 * steps * begun
    return np.array([heights, met * steps - begun, met - left])[:, :-1]


def _sums_of_others(marks: Marks, count: int) -> FloatArray:
    """Give the changes of the sums (C², C m, m²) at each age by the marks of clusters."""
    order = np.argsort(marks.cluster * (count + 1) + marks.place)
    cluster, place = marks.cluster[order], marks.place[order]
    is_first = np.append(True, cluster[1:] != cluster[:-1])[: len(cluster)]
    height, watched = (_running(one[order], is_first) for one in (marks.height, marks.watched))
    rises = [_rise(one, is_first) for one in (height**2, height * watched, watched**2)]
    return _at_places(place, rises, count)


def _marks(
    sets: RiskSets,
    unit: IntArray,
    size: FloatArray,
    who: IntArray,
    is_quiet: BoolArray,
    steps: FloatArray,
) -> Marks:
    """Give the changes by events, starts and ends, quiet units left out."""
    count = len(sets.time)
    is_met, is_left = ~is_quiet & (sets.first < count), ~is_quiet & (sets.past < count)
    first, past = sets.first[is_met], sets.past[is_left]
    share = size / sets.at_risk[sets.bin]
    return Marks(
        np.concatenate([who[unit], who[is_met], who[is_left]]),
        np.concatenate([sets.bin, first, past]),
        np.concatenate([share, steps[first], -steps[past]]),
        np.repeat([0.0, 1.0, -1.0], [len(unit), len(first), len(past)]),
    )


def _running(change: FloatArray, is_first: BoolArray) -> FloatArray:
    """Add up within each run of rows that begins where marked."""
    total: FloatArray = np.cumsum(change)
    begins = np.flatnonzero(is_first)
    base = np.append(0.0, total[begins[1:] - 1])[: len(begins)]
    within: FloatArray = total - np.repeat(base, np.diff(np.append(begins, len(change))))
    return within


def _rise(value: FloatArray, is_first: BoolArray) -> FloatArray:
    """Give by how much each row is above the one before it in its run."""
    return value - np.where(is_first, 0.0, np.append(0.0, value[:-1])[: len(value)])


def _at_places(place: IntArray, figures: Sequence[FloatArray], count: int) -> FloatArray:
    """Add figures up at their places, those past the last left out; a row a figure."""
    sums = [np.bincount(place, weights=one, minlength=count + 1)[:count] for one in figures]
    return np.array(sums, dtype=np.float64)


def increment_variance(sets: RiskSets, unit: IntArray, size: FloatArray) -> FloatArray:
    """Give the variance as if what happens to a unit at one age said nothing of another age.

    Sum over ages of sum over units at risk of (its size - d / n)² / n²: common in reliability
    software, too narrow or too wide wherever units differ or take turns.
    """
    _, place, own = _own_sizes(sets, unit, size)
    variance: FloatArray = np.cumsum(_spread(sets, place, own) / sets.at_risk**2)
    return variance


def unbiased_variance(sets: RiskSets, unit: IntArray, size: FloatArray) -> FloatArray:
    """Give Nelson's variance: sample variances and covariances of the units at risk, by n - 1.

    At each age it grows by the sample variance there over n, and twice the sample covariance, over
    the units at risk there, of the sizes there and of every age before, over that age's n. All
    units must be watched from the first on. It may fall, below 0 even: it is then held at 0; an
    age with one unit at risk adds nothing. Nelson, Technometrics 37 (1995), 147.
    """
    who, place, own = _own_sizes(sets, unit, size)
    spread, share = _spread(sets, place, own), own / sets.at_risk[place]
    is_first = np.append(True, who[1:] != who[:-1])[: len(who)]
    before = _running(share, is_first) - share
    count = len(sets.time)
    both = np.bincount(place, weights=own * before, minlength=count)
    shares = np.bincount(place, weights=share, minlength=count)
    gone = np.bincount(sets.past, weights=np.bincount(who, share, len(sets.past)), minlength=count)
    known = np.cumsum(shares) - shares - np.cumsum(gone[:count])
    covered = both - sets.summed(size) / sets.at_risk * known
    grown = (spread / sets.at_risk + 2 * covered) / np.maximum(sets.at_risk - 1, 1)
    variance: FloatArray = np.cumsum(np.where(sets.at_risk > 1, grown, 0.0))
    return np.maximum(variance, 0.0)


def _own_sizes(
    sets: RiskSets, unit: IntArray, size: FloatArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """Give each unit's whole size at each age at which it had events, by unit and age."""
    pair, place = np.unique(unit * len(sets.time) + sets.bin, return_inverse=True)
    own = np.bincount(place, weights=size, minlength=len(pair)).astype(np.float64, copy=False)
    width = max(len(sets.time), 1)
    return pair // width, pair % width, own


def _spread(sets: RiskSets, place: IntArray, own: FloatArray) -> FloatArray:
    """Give, at each age, the sum over units at risk of (its size - the mean)²."""
    count = len(sets.time)
    squares = np.bincount(place, weights=own**2, minlength=count)
    total = np.bincount(place, weights=own, minlength=count)
    spread: FloatArray = np.maximum(squares - total**2 / sets.at_risk, 0.0)
    return spread


def poisson_variance(sets: RiskSets, size: FloatArray) -> FloatArray:
    """Give the variance as if every unit were a Poisson process of one and the same rate."""
    return np.cumsum(sets.summed(size**2) / sets.at_risk**2)
