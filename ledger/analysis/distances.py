"""How far a bike, and so a part on it, had gone at an instant between distance readings.

All instants are days (floats, any origin), distances kilometres; every argument of one call has
one length N, and NaN stands for what is not known.

What was ridden in T days is taken to have the variance mean² × SCATTER_DAYS / T (a gamma
process). Then the share u of the distance between two readings that was ridden by an instant is
Beta distributed with mean u and variance u (1 - u) / (T / SCATTER_DAYS + 1) (the gamma bridge).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]

SAME_VISIT_DAYS = 1.0
"""A distance reading this near counts as taken at that very instant."""
SCATTER_DAYS = 30.0
"""Over this many days the distance ridden scatters by its own size (one sd): an assumption."""
SOURCES = ("read", "between", "beyond", "unknown")
"""How a distance is known, the surest first; elsewhere by its place in this list."""
_TICK = 1e-9
"""Days that are only rounding: a tenth of a millisecond."""
NONE = -1
"""No distance reading there."""


@dataclass(frozen=True, slots=True)
class Readings:
    """Distance readings: when (days), how far (km), with what error (one sd)."""

    at: Floats
    km: Floats
    error_km: Floats
    lost: Floats
    """The variance (km²) of what no computer of the bike counted until then, summed over time;
    zeros where every kilometre was counted (`with_lost`)."""


@dataclass(frozen=True, slots=True)
class Places:
    """Where N instants lie among the distance readings of their bikes."""

    before: Integers
    """Index of the reading before it (or at it), into Readings; NONE where there is none."""
    after: Integers
    share: Floats
    """How far (0 to 1 in time) from the one before to the one after; 0 where one is missing."""
    offset_days: Floats
    """Days beyond the last reading, or, negative, ahead of the first; else 0."""

    @property
    def source(self) -> Integers:
        """Give how each is known, as an index into SOURCES."""
        is_known = (self.before != NONE) | (self.after != NONE)
        is_read = (self.before == self.after) & is_known
        is_between = (self.before != NONE) & (self.after != NONE)
        return np.select([is_read, is_between, is_known], [0, 1, 2], 3).astype(np.int64)

    def take(self, chosen: Integers) -> Places:
        """Give the places of these indices."""
        return Places(
            self.before[chosen], self.after[chosen], self.share[chosen], self.offset_days[chosen]
        )


@dataclass(frozen=True, slots=True)
class Gone:
    """What was ridden between two instants: km, its error (one sd), and how it is known.

    Unknown is NaN km with error 0. `source` is an index into SOURCES.
    """

    km: Floats
    error_km: Floats
    source: Integers


def _at(values: Floats, index: Integers) -> Floats:
    """Give values at indices; NaN where there is none."""
    if not len(values):
        return np.full(len(index), np.nan)
    return np.where(index == NONE, np.nan, values[index])


def summed_so_far(values: Floats, owner: Integers) -> Floats:
    """Sum figures (N,) over each owner's entries up to each, in order.

    `owner` are codes, equal ones together. What one comes to hangs on its own figures alone, to
    the last bit: a running sum over all of them would round by what all come to.
    """
    sums = values.copy()
    place = np.arange(len(owner)) - np.searchsorted(_rising(owner), _rising(owner))
    order = np.argsort(place, kind="stable")
    ends = np.searchsorted(place[order], np.arange(1, place.max(initial=0) + 2))
    for start, end in pairwise(ends.tolist()):
        rows = order[start:end]
        sums[rows] += sums[rows - 1]
    return sums


def _rising(owner: Integers) -> Integers:
    """Number the runs of equal codes, in order."""
    return np.cumsum(np.diff(owner, prepend=owner[:1]) != 0)


def with_lost(
    readings: Readings, bike: Integers, computer: Integers, km_per_day: Floats
) -> Readings:
    """Give the readings with what was lost where a computer was replaced.

    What was ridden from the last reading of one computer to the first of the next is in
    neither. It is taken as an error of as much as the bike rides in that time (`km_per_day` of
    each reading's bike). `bike` and `computer` are codes; readings may be in any order.
    """
    order = np.lexsort((readings.at, bike))
    lost = np.zeros(len(order))
    first, second = order[:-1], order[1:]
    is_replaced = (bike[first] == bike[second]) & (computer[first] != computer[second])
    days = readings.at[second] - readings.at[first]
    lost[second] = np.where(is_replaced, (days * km_per_day[second]) ** 2, 0.0)
    summed = np.zeros(len(order))
    summed[order] = summed_so_far(lost[order], bike[order])
    return Readings(readings.at, readings.km, readings.error_km, summed)


def place(at: Floats, before: Integers, after: Integers, readings: Readings) -> Places:
    """Place instants between the readings before and after them (indices, or NONE).

    An instant within SAME_VISIT_DAYS of one of the two counts as at the nearer of them.
    """
    since, until = at - _at(readings.at, before), _at(readings.at, after) - at
    near, next_near = np.nan_to_num(since, nan=np.inf), np.nan_to_num(until, nan=np.inf)
    is_at_before = (near <= SAME_VISIT_DAYS + _TICK) & (near <= next_near + _TICK)
    is_at_after = (next_near <= SAME_VISIT_DAYS + _TICK) & ~is_at_before
    first, second = np.where(is_at_after, after, before), np.where(is_at_before, before, after)
    is_open = (first == second) | (first == NONE) | (second == NONE)
    with np.errstate(invalid="ignore"):
        share = np.where(is_open, 0.0, since / (since + until))
    offset = np.where((first != NONE) & (second == NONE), since, 0.0)
    offset = np.where((first == NONE) & (second != NONE), -until, offset)
    return Places(first, second, np.nan_to_num(share), offset)


def km_at(places: Places, readings: Readings, km_per_day: Floats) -> Floats:
    """Give the bike's distance at each place (km); NaN where not known."""
    first, second = _at(readings.km, places.before), _at(readings.km, places.after)
    base = np.where(np.isnan(first), second, first)
    ridden = np.where(places.share > 0, places.share * (second - first), 0.0)
    beyond = np.where(places.offset_days == 0, 0.0, places.offset_days * km_per_day)
    return np.asarray(base + ridden + beyond)


def gone_between(
    start: Places, end: Places, readings: Readings, km_per_day: Floats, log_sd: Floats
) -> Gone:
    """Give what the bikes rode between two instants each, the first no later than the second.

    `km_per_day` (N,) is each bike's own rate, for beyond its readings, and `log_sd` (N,) the sd
    of its logarithm. Reading errors of a reading that both ends lean on cancel.
    """
    km = km_at(end, readings, km_per_day) - km_at(start, readings, km_per_day)
    variance = (
        _bridge_variance(start, end, readings)
        + _beyond_variance(start, end, km_per_day, log_sd)
        + _reading_variance(start, end, readings)
        + _lost_until(end, readings)
        - _lost_until(start, readings)
    )
    source = np.where(np.isnan(km), len(SOURCES) - 1, np.maximum(start.source, end.source))
    error = np.where(np.isnan(km), 0.0, np.sqrt(np.maximum(np.nan_to_num(variance), 0.0)))
    return Gone(np.maximum(km, 0.0), error, source.astype(np.int64))


def _bridge_variance(start: Places, end: Places, readings: Readings) -> Floats:
    is_same = (start.before == end.before) & (start.after == end.after)
    together = _share_variance(end, end.share - start.share, readings)
    apart = _share_variance(start, start.share, readings) + _share_variance(
        end, end.share, readings
    )
    return np.where(is_same, together, apart)


def _share_variance(places: Places, share: Floats, readings: Readings) -> Floats:
    days = _at(readings.at, places.after) - _at(readings.at, places.before)
    km = _at(readings.km, places.after) - _at(readings.km, places.before)
    return np.asarray(np.nan_to_num(km**2 * share * (1 - share) / (days / SCATTER_DAYS + 1)))


def _beyond_variance(start: Places, end: Places, km_per_day: Floats, log_sd: Floats) -> Floats:
    days = np.abs(end.offset_days - start.offset_days)
    spread = np.expm1(np.minimum(log_sd, 3.0) ** 2)
    return np.asarray(np.nan_to_num(km_per_day**2 * (days * SCATTER_DAYS + days**2 * spread)))


def _lost_until(places: Places, readings: Readings) -> Floats:
    earlier, later = _weights(places)
    first, second = _at(readings.lost, places.before), _at(readings.lost, places.after)
    return np.asarray(np.nan_to_num(first) * earlier + np.nan_to_num(second) * later)


def _reading_variance(start: Places, end: Places, readings: Readings) -> Floats:
    """Give the variance from the readings' own errors; what both ends share is counted once."""
    weights = [*(-weight for weight in _weights(start)), *_weights(end)]
    which = [start.before, start.after, end.before, end.after]
    errors = [
        weight * np.nan_to_num(_at(readings.error_km, index))
        for weight, index in zip(weights, which, strict=True)
    ]
    total = sum((error**2 for error in errors), np.zeros(len(start.share)))
    for one in (0, 1):
        for other in (2, 3):
            is_same = which[one] == which[other]
            total = total + np.where(is_same, 2 * errors[one] * errors[other], 0.0)
    return total


def _weights(places: Places) -> tuple[Floats, Floats]:
    """Give how much a place leans on the reading before it and on the one after."""
    is_after_only = (places.before == NONE) & (places.after != NONE)
    later = np.where(is_after_only, 1.0, places.share)
    return 1.0 - later, later
