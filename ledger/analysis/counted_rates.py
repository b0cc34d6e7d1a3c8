"""Rates of units with few events each, drawn towards what all have in common: gamma–Poisson.

A unit's count is Poisson with its own rate times its exposure; rates differ between units by a
gamma distribution (alpha, beta), whose most likely parameters are those of the marginal, negative
binomial likelihood: empirical Bayes, e.g. Carlin and Louis, Bayesian Methods for Data Analysis
(2008), ch. 5. What few units leave open of alpha and beta is in the wide intervals.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from scipy import special

from ledger.analysis.counted_grid import log_jacobian, nodes_of
from ledger.analysis.counted_likelihood import Counts, most_likely
from ledger.analysis.life_bounds import (
    BadLives,
    Column,
    FloatArray,
    TooFewLives,
    figures,
    refuse,
    same_length,
    share_between,
)

LogPrior: TypeAlias = Callable[[FloatArray, FloatArray], FloatArray]
"""Gives the logarithm of a density in (alpha, beta), up to a constant, for arrays of both."""


@dataclass(frozen=True, slots=True, eq=False)
class CountedRates:
    """Rates per unit of exposure, one entry a unit, and the distribution they are drawn to."""

    alpha: float
    """Infinite where units differ by no more than chance; then all have the pooled rate."""
    beta: float
    """Of the same unit as exposure; alpha / beta is the mean rate. Infinite as alpha is."""
    mean_rate: float
    log_likelihood: float
    pooled_rate: float
    """All events over all exposure."""
    level: float
    own_rate: FloatArray
    """count / exposure."""
    rate: FloatArray
    """Posterior means (alpha + count) / (beta + exposure)."""
    plain_low: FloatArray
    """Interval at these alpha and beta as if they were known: too narrow where units are few."""
    plain_high: FloatArray
    full_rate: FloatArray
    """Posterior means over all alpha and beta by how likely they are."""
    low: FloatArray
    """Interval that includes the uncertainty of alpha and beta."""
    high: FloatArray
    chance_above: FloatArray
    """How likely the unit's rate is above the pooled one; about a half where nothing tells."""
    full_alpha: float
    """Posterior means of alpha and beta; infinite or huge where units do not differ."""
    full_beta: float

    @property
    def is_alike(self) -> bool:
        """Say whether the units differ by no more than chance."""
        return bool(np.isinf(self.alpha))


def counted_rates(
    count: Column, exposure: Column, *, level: float = 0.95, log_prior: LogPrior | None = None
) -> CountedRates:
    """Give the units' rates from how many events each had in its exposure (years, 1,000 km).

    The uncertainty of alpha and beta is summed over a grid; for very many units an interval is
    that of the gamma distribution with the mean and variance of the sum. Without `log_prior`, the
    mean rate has Jeffreys' prior, and the variance of the rates over their mean squared, 1 / alpha,
    one that is flat below 1 and falls as its inverse above, cut at 100: flat near none, as Morris
    and Tang, Statistical Science 26 (2011), found to hold what intervals promise. Raises
    `BadLives` naming the row of a count that is no whole number from 0 up or of an exposure not
    above 0, `TooFewLives` for no units.
    """
    counts = _checked(count, exposure, level)
    found = most_likely(counts)
    alpha = 1 / found.spread if found.spread else np.inf
    beta = alpha / found.mean if found.spread else np.inf
    pooled = float(counts.count.sum() / counts.exposure.sum())
    nodes = nodes_of(counts, log_prior and _on_grid(log_prior))
    mean, variance = nodes.moments(counts)
    tails = (1 - level) / 2, (1 + level) / 2
    low, high = (nodes.quantile(counts, tail) for tail in tails)
    rate, plain = _plain(counts, alpha, beta, pooled, tails)
    return CountedRates(
        alpha=alpha,
        beta=beta,
        mean_rate=found.mean,
        log_likelihood=found.log_likelihood,
        pooled_rate=pooled,
        level=level,
        own_rate=counts.count / counts.exposure,
        rate=rate,
        plain_low=plain[0],
        plain_high=plain[1],
        full_rate=mean,
        low=low,
        high=high,
        chance_above=_chance_above(pooled, mean, variance),
        full_alpha=nodes.mean_of(nodes.alpha),
        full_beta=nodes.mean_of(nodes.beta),
    )


def _checked(count: Column, exposure: Column, level: float) -> Counts:
    events, length = figures(count, "count"), figures(exposure, "exposure")
    same_length(events, {"exposure": length})
    if not len(events):
        raise TooFewLives("units", "count", "there are none", "A rate needs one")
    is_count = (events >= 0) & (events < 2**53) & (events == np.floor(events))
    refuse(~is_count, "count", "it is no count", "Give a whole number from 0 up")
    is_length = (length > 0) & np.isfinite(length)
    refuse(~is_length, "exposure", "nothing was watched", "Give one above 0, or leave the row out")
    share_between(level, "level")
    return Counts(events, length)


def _plain(
    counts: Counts, alpha: float, beta: float, pooled: float, tails: tuple[float, float]
) -> tuple[FloatArray, tuple[FloatArray, FloatArray]]:
    """Give the posterior means and intervals at the most likely alpha and beta."""
    if np.isinf(alpha):
        same = np.full(len(counts.count), pooled)
        return same, (same, same)
    shape, along = alpha + counts.count, beta + counts.exposure
    low, high = (special.gammaincinv(shape, tail) / along for tail in tails)
    return shape / along, (low, high)


def _chance_above(pooled: float, mean: FloatArray, variance: FloatArray) -> FloatArray:
    """Give the chance of a rate above the pooled one; a half where nothing ever happened."""
    if not pooled:
        return np.full(len(mean), 0.5)
    return np.asarray(special.gammaincc(mean**2 / variance, pooled * mean / variance))


def _on_grid(log_prior: LogPrior) -> LogPrior:
    """Turn a density in (alpha, beta) into one in the grid's own coordinates."""

    def on_grid(alpha: FloatArray, beta: FloatArray) -> FloatArray:
        density = np.asarray(log_prior(alpha, beta), dtype=np.float64)
        if density.shape != alpha.shape or np.isnan(density).any():
            right = "Give a figure for every pair of alpha and beta, -inf where it cannot be"
            raise BadLives("argument", "log_prior", "it gives something else", right)
        if not np.isfinite(density.max()):
            wrong = f"it is {density.max()} where the counts may come from"
            raise BadLives("argument", "log_prior", wrong, "Give figures, -inf only for some")
        return density + log_jacobian(alpha, beta)

    return on_grid
