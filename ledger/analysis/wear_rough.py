"""A first look at how fast a family wears, robust where it can be: what the fit starts from."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ledger.analysis.wear_data import Family, Flags, Floats, Ints


@dataclass(frozen=True, slots=True)
class Rough:
    """A first look that outliers hardly move."""

    rate: float
    start: float
    span: float
    usual_x: float


def rough(family: Family, is_used: Flags) -> Rough | None:
    """Give a family's rough rate and start; None where nothing tells a rate.

    Where no figure tells one, intervals stand for their middles: go/no-go marks alone do, once
    some part was worn past a mark, some not yet, and it is known what parts measure when new.
    """
    found = _rough(family, is_used)
    return _rough_of_marks(family, is_used) if found is None else found


def _rough_of_marks(family: Family, is_used: Flags) -> Rough | None:
    looks = is_used & family.is_interval
    is_told = np.isfinite(family.low[looks]).any() and np.isfinite(family.high[looks]).any()
    if not is_told or np.isnan(family.known_start[family.is_new]).all():
        return None
    middles = _middles(family)
    return _rough(middles, is_used & ~middles.is_interval)


def _middles(family: Family) -> Family:
    """Give the family with a figure for each interval that has two ends, or one and a start.

    Below a mark a part that was new is taken to be half-way there, past the last one to be at it.
    """
    start = family.known_start[family.series_of]
    low = np.where(np.isinf(family.low), start, family.low)
    high = np.where(np.isinf(family.high), low, family.high)
    is_open = np.isinf(family.low) & np.isinf(family.high)
    middle = np.where(is_open, np.nan, (np.minimum(low, high) + high) / 2)
    return replace(family, y=np.where(family.is_interval, middle, family.y))


def _rough(family: Family, is_used: Flags) -> Rough | None:
    valued = is_used & ~family.is_interval
    of = family.series_of
    slopes, weights = _slopes(family, valued)
    start = _rough_start(family, valued & family.is_new[of], slopes, weights)
    later = valued & family.is_new[of] & (family.x > 0)
    if np.isnan(start):
        start = float(np.min(family.y[valued], initial=np.inf))
        later = np.zeros_like(later)
    slopes = np.append(slopes, (family.y[later] - start) / family.x[later])
    weights = np.append(weights, family.x[later])
    if not len(slopes):
        return None
    rate = _weighted_median(slopes, weights)
    if rate <= 0:
        return None
    limit = family.limit[~np.isnan(family.limit)]
    span = float(np.median(limit)) - start if len(limit) else 0.0
    usual_x = float(np.median(family.x[family.x > 0.01 * family.x.max()]))
    return Rough(rate, start, span if span > 0 else max(rate * usual_x, 1e-9), usual_x)


def _rough_start(family: Family, is_new: Flags, slopes: Floats, weights: Floats) -> float:
    """Give the figure of a new part: known, or where lines of the usual slope begin; else NaN."""
    known = family.known_start[family.is_new & ~np.isnan(family.known_start)]
    if len(known):
        return float(np.median(known))
    x, y = family.x[is_new], family.y[is_new]
    if len(slopes) and len(x):
        return float(np.median(y - _weighted_median(slopes, weights) * x))
    if len(x) >= 3 and np.ptp(x) > 0:
        from scipy.stats import theilslopes  # slow to import, and seldom needed

        some = spread_out(len(x), 400)
        # Its interval, which is not used, may be the root of less than nought.
        with np.errstate(invalid="ignore"):
            return float(theilslopes(y[some], x[some]).intercept)
    return float("nan")


def _slopes(family: Family, valued: Flags) -> tuple[Floats, Floats]:
    """Give the slope between each reading and the one before it, and the exposure between."""
    of = np.flatnonzero(valued)
    is_same = np.diff(family.series_of[of]) == 0
    step, rise = np.diff(family.x[of])[is_same], np.diff(family.y[of])[is_same]
    return rise[step > 0] / step[step > 0], step[step > 0]


def _weighted_median(values: Floats, weights: Floats) -> float:
    order = np.argsort(values)
    sums = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(sums, sums[-1] / 2)])


def spread_out(size: int, most: int) -> Ints:
    """Give at most `most` of `size` places, evenly chosen."""
    return np.unique(np.linspace(0, size - 1, min(size, most)).astype(np.int64))
