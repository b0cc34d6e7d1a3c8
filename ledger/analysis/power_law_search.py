"""The most likely shape of a power law whose units were watched over different stretches."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtri

from ledger.analysis.histories import Histories
from ledger.analysis.life_bounds import FloatArray, TooFewLives

_LEAST, _MOST = 2.0**-20, 2.0**20
_LEAST_LOG, _MOST_LOG = math.log(sys.float_info.min), math.log(sys.float_info.max)


class PowerLawSearch:
    """The likelihood of the shape, the best scale put in: concave, so that it has one peak.

    With N events at t and units watched from s to e it is
    N ln shape + shape sum ln t - N ln sum(e^shape - s^shape), ages in shares of the longest end.
    """

    def __init__(self, of: Histories) -> None:
        self.longest = float(of.end.max())
        self._count = len(of.time)
        self._log_time = float(np.log(of.time / self.longest).sum())
        self._is_alike = bool(np.all(of.end == self.longest)) and not of.start.any()
        self._ends = _Ages(of.end / self.longest)
        self._starts = _Ages(of.start / self.longest)

    def most_likely(self) -> float:
        """Give the shape at the peak; `TooFewLives` where it lies at no figure above 0."""
        if self._is_alike:
            return -self._count / self._log_time
        return _falling_root(self._slope)

    def at_longest(self, shape: float) -> float:
        """Give the events expected by the longest end, were as many expected as there were."""
        return self._count / self._watched(shape)

    def scale(self, shape: float) -> float | None:
        """Give the events expected by age 1; None where that is no figure a computer can hold."""
        log_scale = math.log(self.at_longest(shape)) - shape * math.log(self.longest)
        return math.exp(log_scale) if _LEAST_LOG < log_scale < _MOST_LOG else None

    def interval(self, shape: float, level: float) -> tuple[float, float]:
        """Give the shapes at which the likelihood ratio is that of `level`; the lower may be 0."""
        fall = self._likelihood(shape) - float(ndtri((1 + level) / 2)) ** 2 / 2

        def above(other: float) -> float:
            return self._likelihood(other) - fall

        low, high = shape, shape
        while above(low) > 0 and low > _LEAST * shape:
            low /= 2
        while above(high) > 0:
            high *= 2
        bottom = float(brentq(above, low, shape)) if above(low) <= 0 else 0.0
        return bottom, float(brentq(above, shape, high))

    def _likelihood(self, shape: float) -> float:
        watched = self._watched(shape)
        return float(self._count * np.log(shape / watched) + shape * self._log_time)

    def _watched(self, shape: float) -> float:
        return self._ends.powers(shape)[0] - self._starts.powers(shape)[0]

    def _slope(self, shape: float) -> float:
        end, end_slope = self._ends.powers(shape)
        start, start_slope = self._starts.powers(shape)
        gain = (end_slope - start_slope) / (end - start)
        return self._count * (1 / shape - gain) + self._log_time


class _Ages:
    """Ages in shares of the longest, each once; 0 left out, since its powers are 0."""

    def __init__(self, share: FloatArray) -> None:
        values, counts = np.unique(share[share > 0], return_counts=True)
        self._logs, self._counts = np.log(values), counts.astype(np.float64)

    def powers(self, shape: float) -> tuple[float, float]:
        """Give the sum of the ages' powers, and its slope in the shape."""
        powers = self._counts * np.exp(shape * self._logs)
        return float(powers.sum()), float(powers @ self._logs)


def _falling_root(slope: Callable[[float], float]) -> float:
    """Give where a falling function of a figure above 0 crosses 0."""
    low = high = 1.0
    while slope(low) < 0 and low > _LEAST:
        low /= 2
    while slope(high) > 0 and high < _MOST:
        high *= 2
    if slope(low) < 0 or slope(high) > 0:
        wrong = "they crowd where watching began or ended: no shape is most likely"
        raise TooFewLives("events", "time_of_event", wrong, "Give events at other ages too")
    return high if low == high else float(brentq(slope, low, high, xtol=1e-13, rtol=1e-13))
