"""How far beyond its limit a part was when seen: over in its own unit, and in km."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

from ledger.analysis.unfit import refuse_rows, refuse_share

Floats = NDArray[np.float64]
_COUNT_POINTS = 1009
_READINGS_AT_ONCE = 4_096
_GOLDEN = 0.6180339887498949
"""Steps of this share of the unit fill it evenly, beside steps of one in the count of points."""


@dataclass(frozen=True, slots=True)
class Beyond:
    """How far past the limit, one entry a reading; negative where it was short of it."""

    over: Floats
    """In the unit of the reading: percent points of a chain."""
    km: Floats
    km_low: Floats
    km_high: Floats


def how_far_beyond(
    value: ArrayLike,
    limit: ArrayLike,
    log_rate: ArrayLike,
    log_rate_sd: ArrayLike,
    *,
    direction: ArrayLike = 1,
    error: ArrayLike = 0.0,
    level: float = 0.8,
) -> Beyond:
    """Give how far past the limit each reading was, and how many km before it passed it.

    The wear rate per 1,000 km is log-normal (mean and sd of its natural logarithm); the reading
    has a normal gauge `error` (1 sd). `km` is at the median rate; the interval holds `level` of
    the quotient, by 1,009 equally likely points. Arrays are broadcast. Raises CannotFit for
    a figure that is not finite, a negative sd and a level that is no share.
    """
    given = (value, limit, log_rate, log_rate_sd, direction, error)
    shape = np.broadcast_arrays(*(np.asarray(one, dtype=float) for one in given))
    at, most, log_mean, log_sd, way, off = columns = tuple(one.ravel() for one in shape)
    names = ("value", "limit", "log_rate", "log_rate_sd", "direction", "error")
    for name, column in zip(names, columns, strict=True):
        is_sd = name in ("log_rate_sd", "error")
        is_right = np.isfinite(column) & ((column >= 0) | (not is_sd))
        right = "Give sds of 0 or more" if is_sd else "Give a figure"
        refuse_rows("reading", name, column, is_right, right)
    refuse_share("interval", "level", level)
    over = way * (at - most)
    low, high = _quotient(over, off, log_mean, log_sd, level)
    return Beyond(over, over / np.exp(log_mean) * 1000, low, high)


def _quotient(
    over: Floats, error: Floats, log_mean: Floats, log_sd: Floats, level: float
) -> tuple[Floats, Floats]:
    """Give the quantiles of (over + error) / rate, in km, of some readings at a time."""
    steps = np.arange(_COUNT_POINTS) + 0.5
    one, two = norm.ppf(steps / _COUNT_POINTS), norm.ppf((steps * _GOLDEN) % 1.0)
    found = np.empty((2, len(over)))
    for start in range(0, len(over), _READINGS_AT_ONCE):
        some = slice(start, start + _READINGS_AT_ONCE)
        dividend = over[some, None] + error[some, None] * one
        points = dividend / np.exp(log_mean[some, None] + log_sd[some, None] * two) * 1000
        found[:, some] = np.quantile(points, [(1 - level) / 2, (1 + level) / 2], axis=1)
    return found[0], found[1]
