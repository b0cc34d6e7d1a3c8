"""A straight line that is not known exactly: where it will be, and where it meets a threshold."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import stdtrit

from ledger.analysis.reml import FloatArray
from ledger.analysis.unfit import CannotFit


@dataclass(frozen=True, slots=True)
class Band:
    """Figures with an interval about each, in the shape of what was asked for."""

    value: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where a line meets a threshold, in units of x; infinite where nothing bounds it."""

    at: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Line:
    """One line, its uncertainty, and the scatter of readings about it."""

    intercept: float
    slope: float
    covariance: FloatArray
    """(2, 2) of intercept and slope: estimate minus truth."""
    residual_variance: float
    count_free: int
    """How many free figures the variances rest on: Student's t has as many degrees of freedom."""

    def forecast(self, x: Any, level: float = 0.8, *, is_reading: bool = False) -> Band:
        """Give the line at x, or with `is_reading` the next reading there, with an interval."""
        across = np.asarray(x, dtype=np.float64)
        if not np.all(np.isfinite(across)):
            raise CannotFit("forecast", "x", "not a finite number", "Give finite figures")
        design = np.stack([np.ones_like(across), across], axis=-1)
        variance = np.einsum("...a,ab,...b->...", design, self.covariance, design)
        variance = np.maximum(variance, 0.0) + is_reading * self.residual_variance
        value = np.asarray(self.intercept + self.slope * across)
        reach = self._quantile(level) * np.sqrt(variance)
        return Band(value, np.asarray(value - reach), np.asarray(value + reach))

    def crossing(self, threshold: float, level: float = 0.8) -> Crossing:
        """Give the x at which the line reaches the threshold, with Fieller's interval.

        Fieller (1954), "Some problems in interval estimation", JRSS B 16. Where the slope may
        be zero at this level the interval is open on one side or both; a line that is level
        never crosses, and is said to at infinity.
        """
        if not math.isfinite(threshold):
            raise CannotFit("crossing", "threshold", f"it is {threshold}", "Give a finite figure")
        ahead = threshold - self.intercept
        at = ahead / self.slope if self.slope else math.inf
        at = at if math.isfinite(at) else math.inf
        return Crossing(at, *self._fieller(ahead, at, self._quantile(level)))

    def _quantile(self, level: float) -> float:
        """Give how many standard deviations either side hold `level` of Student's t."""
        if not 0 < level < 1:
            raise CannotFit("interval", "level", f"it is {level}", "Give a share between 0 and 1")
        return float(stdtrit(self.count_free, 0.5 + level / 2))

    def _fieller(self, ahead: float, at: float, reach: float) -> tuple[float, float]:
        """Give the stretch about `at` where |intercept + slope x - threshold| <= reach sd(x)."""
        (start, cross), (_, rate) = self.covariance
        square = self.slope * self.slope - reach * reach * float(rate)
        linear = -ahead * self.slope - reach * reach * float(cross)
        constant = ahead * ahead - reach * reach * float(start)
        roots = _roots(square, linear, constant)
        if square > 0 and roots:
            return min(roots[0], at), max(roots[-1], at)
        if not roots:
            return -math.inf, math.inf
        if at < (roots[0] + roots[-1]) / 2:
            return -math.inf, max(roots[0], at)
        return min(roots[-1], at), math.inf


def _roots(square: float, linear: float, constant: float) -> tuple[float, ...]:
    """Give the real roots of square x^2 + 2 linear x + constant in order, without cancellation."""
    inside = linear * linear - square * constant
    if inside < 0 and square > 0:
        inside = 0.0  # the estimate itself is inside: only rounding can say otherwise
    if not 0 <= inside < math.inf:
        return ()
    far = -(linear + math.copysign(math.sqrt(inside), linear))
    roots = [far / square] if square else []
    roots += [constant / far] if far else []
    return tuple(sorted(root for root in roots if math.isfinite(root)))
