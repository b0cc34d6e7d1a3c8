"""What pooling gives: the common line, how parts differ from it, and the line of each."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ledger.analysis.lines import Band, Crossing, Line
from ledger.analysis.reml import FloatArray
from ledger.analysis.unfit import CannotFit


@dataclass(frozen=True, slots=True)
class PooledLines:
    """The common line, how parts differ from it, and the line of each of N parts."""

    intercept: float
    """In units of y, where x is zero."""
    slope: float
    """In units of y over those of x."""
    standard_errors: FloatArray
    """(2,) of the common intercept and slope."""
    fixed_covariance: FloatArray
    """(2, 2) of the common intercept and slope."""
    random_covariance: FloatArray
    """(2, 2) of intercept and slope between parts; zero where they do not vary."""
    residual_variance: float
    """Of a reading about its part's line, in squared units of y."""
    log_likelihood: float
    parts: tuple[Hashable, ...]
    """The labels, in order of first appearance."""
    effects: FloatArray
    """(N, 2) what each part's intercept and slope add to the common ones."""
    effect_covariances: FloatArray
    """(N, 2, 2) of the effects, estimate minus truth, the variances taken as known."""
    line_covariances: FloatArray
    """(N, 2, 2) of each part's intercept and slope, estimate minus truth, with the uncertainty
    of the common line and, to first order, of the variances."""
    is_converged: bool
    _numbers: Mapping[Hashable, int] = field(repr=False, compare=False)

    def line_of(self, part: Hashable) -> Line:
        """Give the line of a part, or that of a part not yet read where `part` is None."""
        common = np.array([self.intercept, self.slope])
        if part is None:
            return self._line(common, self.random_covariance + self.fixed_covariance)
        if part not in self._numbers:
            raise CannotFit(
                f"part {part}", "part", "it was not among the readings", "None means a new part"
            )
        number = self._numbers[part]
        return self._line(common + self.effects[number], self.line_covariances[number])

    def _line(self, ends: FloatArray, covariance: FloatArray) -> Line:
        return Line(
            float(ends[0]), float(ends[1]), covariance, self.residual_variance, len(self.parts) - 1
        )

    def forecast(
        self, part: Hashable, x: Any, level: float = 0.8, *, is_reading: bool = False
    ) -> Band:
        """Give a part's line at x, or with `is_reading` its next reading, with an interval."""
        return self.line_of(part).forecast(x, level, is_reading=is_reading)

    def crossing(self, part: Hashable, threshold: float, level: float = 0.8) -> Crossing:
        """Give the x at which a part's line reaches a threshold, with an interval, never NaN."""
        return self.line_of(part).crossing(threshold, level)
