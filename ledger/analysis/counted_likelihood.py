"""The negative binomial likelihood of counts, by their mean rate and the spread between units.

`mean` is alpha / beta and `spread` 1 / alpha: the variance of the rates over their mean squared,
0 for Poisson counts of one rate.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial

import numpy as np
from scipy import optimize, special

from ledger.analysis.life_bounds import FloatArray

_LEAST_SPREAD = 1e-7
_SPREADS = np.geomspace(_LEAST_SPREAD, 1e5, 25)


@dataclass(frozen=True, slots=True, eq=False)
class Counts:
    """How many events each unit had, and in what exposure."""

    count: FloatArray
    exposure: FloatArray
    kinds: tuple[FloatArray, FloatArray] = field(init=False)
    """The counts above 0 that there are, and how many units have each."""

    def __post_init__(self) -> None:
        kinds, often = np.unique(self.count[self.count > 0], return_counts=True)
        object.__setattr__(self, "kinds", (kinds, often.astype(np.float64)))


@dataclass(frozen=True, slots=True)
class MostLikely:
    """Where the likelihood is greatest."""

    mean: float
    spread: float
    log_likelihood: float


def most_likely(counts: Counts) -> MostLikely:
    """Give the most likely mean rate and spread; a spread of 0 where none is more likely."""
    pooled = float(counts.count.sum() / counts.exposure.sum())
    alike = MostLikely(
        pooled, 0.0, float(log_likelihood(counts, np.array([pooled]), np.zeros(1))[0])
    )
    if not counts.count.any():
        return alike
    profile = _profile(counts, _SPREADS)
    best = int(np.argmax(profile))
    ends = np.log(_SPREADS[[max(best - 1, 0), min(best + 1, len(_SPREADS) - 1)]])
    found = optimize.minimize_scalar(
        partial(_minus, counts), bounds=tuple(ends), method="bounded", options={"xatol": 1e-9}
    )
    spread = np.exp(np.array([found.x]))
    at_top = float(-found.fun)
    if at_top <= alike.log_likelihood + 1e-7:
        return alike
    return MostLikely(float(best_mean(counts, spread)[0][0]), float(spread[0]), at_top)


def _minus(counts: Counts, log_spread: float) -> float:
    return -float(_profile(counts, np.exp(np.array([log_spread])))[0])


def _profile(counts: Counts, spread: FloatArray) -> FloatArray:
    return log_likelihood(counts, best_mean(counts, spread)[0], spread)


def best_mean(
    counts: Counts, spread: FloatArray, with_prior: bool = False
) -> tuple[FloatArray, FloatArray]:
    """Give the most likely mean rate at each spread, and the bend of the likelihood in its log.

    Both are concave in the logarithm of the mean, with `prior_of_mean` or without, so Newton's
    steps lead there.
    """
    half, usual = (0.5 if with_prior else 0.0), counts.exposure.mean()
    log_mean = np.full(len(spread), np.log((counts.count.sum() + half) / counts.exposure.sum()))
    each = spread[:, None]
    for _ in range(60):
        due = np.exp(log_mean)[:, None] * counts.exposure
        left = 1 / (1 + each * due)
        prior = 1 / (1 + spread * np.exp(log_mean) * usual)
        slope = ((counts.count - due) * left).sum(axis=1) + half * prior
        bend = (due * (1 + each * counts.count) * left**2).sum(axis=1) + half * prior * (1 - prior)
        step = np.clip(slope / bend, -2.0, 2.0)
        log_mean = log_mean + step
        if np.abs(step).max() < 1e-9:
            break
    return np.exp(log_mean), bend


def prior_of_mean(counts: Counts, mean: FloatArray, spread: FloatArray) -> FloatArray:
    """Give the log of Jeffreys' prior of the log mean, for a unit of the mean exposure."""
    due = mean * counts.exposure.mean()
    return np.asarray(np.log(due / (1 + spread * due)) / 2)


def log_likelihood(counts: Counts, mean: FloatArray, spread: FloatArray) -> FloatArray:
    """Give the log-likelihood at each pair of mean rate and spread, arrays of one shape (n,)."""
    exposure = counts.exposure
    wide = np.log1p((spread * mean)[:, None] * exposure)
    is_alike = spread == 0
    due = np.where(is_alike, mean * exposure.sum(), 0.0)
    kept = wide.sum(axis=1) / np.where(is_alike, 1.0, spread)
    seen = special.xlogy(counts.count.sum(), mean) - wide @ counts.count
    every = special.xlogy(counts.count, exposure).sum() - special.gammaln(counts.count + 1).sum()
    return np.asarray(seen - kept - due + every + _rising(counts, spread))


def _rising(counts: Counts, spread: FloatArray) -> FloatArray:
    """Give the sum over units of log((1)(1 + spread)(1 + 2 spread) ...), a factor an event."""
    kinds, often = counts.kinds
    safe = np.where(spread > 0, spread, 1.0)[:, None]
    rising = special.gammaln(kinds) - special.betaln(1 / safe, kinds) + kinds * np.log(safe)
    return np.where(spread > 0, rising @ often, 0.0)
