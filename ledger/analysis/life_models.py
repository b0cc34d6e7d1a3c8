"""Lives by two laws, Weibull and lognormal, fitted by maximum likelihood to what is known of them.

Both are a location and a spread of the logarithm of life, so everything asked of one is asked of
the other the same way (Nelson, Applied Life Data Analysis, 1982; Meeker and Escobar, 1998).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import special, stats

from ledger.analysis.life_bounds import Bounds, Column, FloatArray, figures, refuse, share_between


class Estimate(NamedTuple):
    """A figure with its interval, all in one unit."""

    value: float
    lower: float
    upper: float


class Band(NamedTuple):
    """A curve with its pointwise interval, three arrays of one shape."""

    value: FloatArray
    lower: FloatArray
    upper: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class LifeModel(ABC):
    """A fitted law of lives; intervals are at `level`, by the delta method."""

    location: float
    """Of the natural logarithm of life."""
    spread: float
    covariance: FloatArray
    """Of location and spread, shape (2, 2): the inverse of the observed information."""
    log_likelihood: float
    count_lives: float
    count_events: float
    """Lives known to be over."""
    level: float

    @property
    def aic(self) -> float:
        """Give Akaike's criterion: twice the two parameters less twice the log-likelihood."""
        return 4 - 2 * self.log_likelihood

    def survival(self, when: Column) -> Band:
        """Give the share of lives still good at the lengths, none below 0, with its band.

        The interval is of the standardised logarithm of life, so that it stays within 0 and 1.
        """
        length = figures(when, "when")
        refuse(~(np.isfinite(length) & (length >= 0)), "when", "it is no length", "Give 0 or more")
        # at 0 all are good; its logarithm has no place on the scale
        placed = np.log(np.where(length > 0, length, 1.0))
        standard = (placed - self.location) / self.spread
        half = self._normal() * self._error(standard) / self.spread
        shares = (np.exp(self._log_survival(standard + shift)) for shift in (0 * half, half, -half))
        return Band(*(np.where(length > 0, share, 1.0) for share in shares))

    def quantile(self, share: float) -> Estimate:
        """Give the length by which that share (above 0, below 1) of lives is over.

        The interval is of its logarithm.
        """
        share_between(share, "share")
        standard = self._standard_quantile(share)
        middle = self.location + self.spread * standard
        half = self._normal() * float(self._error(np.array(standard)))
        return Estimate(*(float(np.exp(middle + shift)) for shift in (0.0, -half, half)))

    def log_likelihood_of(self, lives: Bounds) -> float:
        """Give the log-likelihood of lives by this law, exact however unlikely they are."""
        # a chance too small to write down is 0, and its logarithm minus infinity
        with np.errstate(all="ignore"):
            low, high, begin = (
                (np.log(ends) - self.location) / self.spread
                for ends in (lives.lower, lives.upper, lives.entry)
            )
            good = self._log_survival(low)
            between = good + np.log1p(-np.exp(self._log_survival(high) - good))
            exact = self._log_density(low) - np.log(self.spread) - np.log(lives.lower)
            each = np.where(lives.is_exact, exact, between) - self._log_survival(begin)
        return float(each @ lives.weights)

    def _normal(self) -> float:
        return float(stats.norm.ppf((1 + self.level) / 2))

    def _error(self, standard: FloatArray) -> FloatArray:
        """Give the standard error of location + standard * spread."""
        place, both, width = self.covariance[0, 0], self.covariance[0, 1], self.covariance[1, 1]
        square = place + 2 * standard * both + standard**2 * width
        return np.asarray(np.sqrt(np.maximum(square, 0.0)))

    def _spread_bounds(self) -> tuple[float, float]:
        """Bound the spread on the log scale, where it cannot fall below 0."""
        factor = np.exp(self._normal() * np.sqrt(self.covariance[1, 1]) / self.spread)
        return float(self.spread / factor), float(self.spread * factor)

    @abstractmethod
    def _log_survival(self, standard: FloatArray) -> FloatArray:
        """Give the logarithm of the share still good at a standardised logarithm of life."""

    @abstractmethod
    def _log_density(self, standard: FloatArray) -> FloatArray:
        """Give the log-density of the standardised logarithm of life."""

    @abstractmethod
    def _standard_quantile(self, share: float) -> float:
        """Give the standardised logarithm of life by which a share of lives is over."""


@dataclass(frozen=True, slots=True, eq=False)
class WeibullLife(LifeModel):
    """Lives by Weibull's law: survival(t) = exp(-(t / scale) ** shape)."""

    @property
    def shape(self) -> float:
        """Above 1 parts wear out, below 1 they fail early; 1 is no ageing."""
        return 1 / self.spread

    @property
    def scale(self) -> float:
        """Give the length by which 63.2 % of lives are over."""
        return float(np.exp(self.location))

    @property
    def shape_error(self) -> float:
        """Give the standard error of the shape."""
        return float(np.sqrt(self.covariance[1, 1])) / self.spread**2

    @property
    def scale_error(self) -> float:
        """Give the standard error of the scale."""
        return float(np.sqrt(self.covariance[0, 0])) * self.scale

    @property
    def shape_interval(self) -> tuple[float, float]:
        """Give the interval of the shape, worked out on the log scale."""
        narrow, wide = self._spread_bounds()
        return 1 / wide, 1 / narrow

    @property
    def scale_interval(self) -> tuple[float, float]:
        """Give the interval of the scale, worked out on the log scale."""
        half = self._normal() * float(np.sqrt(self.covariance[0, 0]))
        return float(np.exp(self.location - half)), float(np.exp(self.location + half))

    @property
    def mean(self) -> float:
        """Give the mean life, scale * Gamma(1 + 1 / shape)."""
        return self.scale * float(special.gamma(1 + self.spread))

    @property
    def standard_deviation(self) -> float:
        """Give the standard deviation of lives."""
        second = float(special.gamma(1 + 2 * self.spread))
        return self.scale * float(np.sqrt(second - special.gamma(1 + self.spread) ** 2))

    def _log_survival(self, standard: FloatArray) -> FloatArray:
        return -np.exp(np.minimum(standard, 700))

    def _log_density(self, standard: FloatArray) -> FloatArray:
        return standard + self._log_survival(standard)

    def _standard_quantile(self, share: float) -> float:
        return float(np.log(-np.log1p(-share)))


@dataclass(frozen=True, slots=True, eq=False)
class LognormalLife(LifeModel):
    """Lives whose logarithm is normal, of mean `location` and standard deviation `spread`."""

    @property
    def mean(self) -> float:
        """Give the mean life."""
        return float(np.exp(self.location + self.spread**2 / 2))

    @property
    def standard_deviation(self) -> float:
        """Give the standard deviation of lives."""
        return self.mean * float(np.sqrt(np.expm1(self.spread**2)))

    def _log_survival(self, standard: FloatArray) -> FloatArray:
        return np.asarray(stats.norm.logsf(standard), dtype=np.float64)

    def _log_density(self, standard: FloatArray) -> FloatArray:
        return np.asarray(stats.norm.logpdf(standard), dtype=np.float64)

    def _standard_quantile(self, share: float) -> float:
        return float(stats.norm.ppf(share))
