"""How likely each alpha and beta are, on a grid that covers all that is worth a look.

The grid is even in `turn` = log(1 + 1 / alpha), which the usual prior takes to be uniform, and,
at each turn, in the logarithm of the mean rate alpha / beta.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from ledger.analysis.counted_likelihood import Counts, best_mean, log_likelihood, prior_of_mean
from ledger.analysis.life_bounds import FloatArray

Density = Callable[[FloatArray, FloatArray], FloatArray]

_ROOM = 800_000
"""How many (node, unit) pairs are worked out at most."""
_WIDEST = float(np.log(101))
"""The turn at which rates spread ten times as wide as their mean, alpha being 0.01."""
_NOTHING = 1e-9
"""A limit this small beside the mean rate is 0."""
_NEGLIGIBLE = 16.0
"""Turns whose likelihood is this many logarithms below the best are left out."""


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """Pairs of alpha and beta, and how likely each is; shape (nodes,)."""

    alpha: FloatArray
    beta: FloatArray
    chance: FloatArray

    def mean_of(self, figure: FloatArray) -> float:
        """Give the mean of a figure a node."""
        return float(self.chance @ figure)

    def moments(self, counts: Counts) -> tuple[FloatArray, FloatArray]:
        """Give the mean and the variance of each unit's rate, over all nodes."""
        shape = self.alpha[:, None] + counts.count
        mean_at = shape / (self.beta[:, None] + counts.exposure)
        mean = self.chance @ mean_at
        within = self.chance @ (mean_at**2 / shape)
        return mean, within + self.chance @ (mean_at - mean) ** 2

    def quantile(self, counts: Counts, tail: float) -> FloatArray:
        """Give each unit's quantile: of a gamma with the same mean and variance, then nearer.

        Newton's steps lead to the quantile of the sum over nodes where units are few; where they
        are many the nodes lie so close that the gamma is no different.
        """
        mean, variance = self.moments(counts)
        rate = special.gammaincinv(mean**2 / variance, tail) * variance / mean
        if len(self.chance) * len(counts.count) > _ROOM / 16:
            return np.where(rate > _NOTHING * mean, rate, 0.0)
        shape = self.alpha[:, None] + counts.count
        along = self.beta[:, None] + counts.exposure
        side, share = _side(tail)
        for _ in range(5):
            rate = np.maximum(rate, _NOTHING / 10 * mean)
            beyond = self.chance @ side(shape, along * rate)
            bend = self.chance @ _density(shape, along * rate)
            step = np.log(share / beyond) * beyond / np.maximum(bend, 1e-300)
            rate = rate * np.exp(np.clip(step if tail < 0.5 else -step, -10.0, 10.0))
        return np.where(rate > _NOTHING * mean, rate, 0.0)


@dataclass(frozen=True, slots=True, eq=False)
class _Lattice:
    """Log means at each turn, and the log of how likely each pair is with its cell's width."""

    spread: FloatArray
    log_mean: FloatArray
    logs: FloatArray


def nodes_of(counts: Counts, density: Density | None) -> Nodes:
    """Give the grid; `density` is the log prior in its coordinates, None for the usual one."""
    count_units = len(counts.count)
    count_turns = int(np.clip(_ROOM / (count_units * 9), 16, 48))
    count_means = int(np.clip(_ROOM / (count_units * count_turns), 9, 21)) | 1
    turns = _turns_worth(counts, count_turns, count_means, density)
    found = _lattice(counts, turns, count_means, density)
    chance = np.exp(found.logs - found.logs.max())
    is_kept = chance > 1e-7
    alpha = (1 / found.spread)[:, None]
    beta = alpha / np.exp(found.log_mean)
    alphas = np.broadcast_to(alpha, chance.shape)[is_kept]
    return Nodes(alphas, beta[is_kept], chance[is_kept] / chance[is_kept].sum())


def _lattice(
    counts: Counts, turns: FloatArray, count_means: int, density: Density | None
) -> _Lattice:
    """Give log means at each turn that cover what is worth a look, found by looking closer."""
    spread = np.expm1(turns)
    middle, bend = best_mean(counts, spread, with_prior=True)
    reach = np.minimum(4.5 / np.sqrt(bend), 100.0)
    low, high = np.log(middle) - reach, np.log(middle) + reach
    for _ in range(1 if density is None and count_means == 9 else 8):
        log_mean = np.linspace(low, high, count_means, axis=1)
        logs = _logs(counts, spread, log_mean, density) + np.log(high - low)[:, None]
        found = _Lattice(spread, log_mean, logs)
        low, high, is_fit = _fitted(log_mean, logs)
        if is_fit:
            break
    return found


def _logs(
    counts: Counts, spread: FloatArray, log_mean: FloatArray, density: Density | None
) -> FloatArray:
    """Give the log of how likely each pair is, prior included; shape as `log_mean`."""
    means, spreads = np.exp(log_mean).ravel(), np.repeat(spread, log_mean.shape[1])
    if density is None:
        prior = prior_of_mean(counts, means, spreads)
    else:
        prior = density(1 / spreads, 1 / (spreads * means))
    return (log_likelihood(counts, means, spreads) + prior).reshape(log_mean.shape)


def _fitted(log_mean: FloatArray, logs: FloatArray) -> tuple[FloatArray, FloatArray, bool]:
    """Give nearer bounds of the log means worth a look at each turn, and whether they had them."""
    first, last = log_mean[:, :1], log_mean[:, -1:]
    step = log_mean[:, 1:2] - first
    best = logs.max(axis=1, keepdims=True)
    is_worth = (logs > best - _NEGLIGIBLE) | np.isneginf(best)  # a turn ruled out stays as it is
    low = np.where(is_worth, log_mean, np.inf).min(axis=1, keepdims=True)
    high = np.where(is_worth, log_mean, -np.inf).max(axis=1, keepdims=True)
    is_fit = (is_worth.sum(axis=1) > 0.5 * logs.shape[1]) & ~is_worth[:, 0] & ~is_worth[:, -1]
    is_relevant = logs.max(axis=1) > logs.max() - _NEGLIGIBLE
    low = np.where(low == first, first - 4 * step, low - 0.6 * step)
    high = np.where(high == last, last + 4 * step, high + 0.6 * step)
    return low[:, 0], high[:, 0], bool(is_fit[is_relevant].all())


def _side(tail: float) -> tuple[Callable[[FloatArray, FloatArray], FloatArray], float]:
    """Give the tail a quantile cuts off, whose logarithm is nearly straight, and its share."""
    return (special.gammainc, tail) if tail < 0.5 else (special.gammaincc, 1 - tail)


def _density(shape: FloatArray, point: FloatArray) -> FloatArray:
    """Give the gamma density in the logarithm of the point."""
    return np.asarray(np.exp(shape * np.log(point) - point - special.gammaln(shape)))


def _turns_worth(
    counts: Counts, count: int, count_means: int, density: Density | None
) -> FloatArray:
    """Give the turns to work out: even between where there is anything, closer at each look."""
    low, high = 0.0, _WIDEST
    for _ in range(6):
        step = (high - low) / count
        turns = np.asarray(low + step * (np.arange(count) + 0.5), dtype=np.float64)
        logs = _of_turns(counts, turns, count_means, density)
        worth = turns[logs > logs.max() - _NEGLIGIBLE]
        if len(worth) > count / 3:
            break
        low, high = max(worth[0] - 1.5 * step, 0.0), min(worth[-1] + 1.5 * step, _WIDEST)
    return turns


def _of_turns(
    counts: Counts, turns: FloatArray, count_means: int, density: Density | None
) -> FloatArray:
    """Give the log of how likely each turn is; by Laplace's approximation for the usual prior."""
    if density is not None:
        return np.asarray(
            np.logaddexp.reduce(_lattice(counts, turns, count_means, density).logs, 1)
        )
    spread = np.expm1(turns)
    mean, bend = best_mean(counts, spread, with_prior=True)
    top = log_likelihood(counts, mean, spread) + prior_of_mean(counts, mean, spread)
    return np.asarray(top - np.log(bend) / 2)


def log_jacobian(alpha: FloatArray, beta: FloatArray) -> FloatArray:
    """Give log |d(alpha, beta) / d(turn, log mean)|, up to a constant."""
    return np.log(alpha) + np.log1p(alpha) + np.log(beta)
