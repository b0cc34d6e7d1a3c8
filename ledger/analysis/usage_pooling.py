"""Partial pooling of logarithms within groups: normal-normal empirical Bayes in closed form."""

from __future__ import annotations

import numpy as np

from ledger.analysis.distances import Floats, Integers

PRIOR_MEMBERS = 5.0
"""What the spread within all groups weighs in each group's own, in members."""
GROUP_SD = 1.0
"""How far groups lie apart (sd of the logarithm): an assumption, it matters in small ones."""


def _between(values: Floats, variances: Floats) -> tuple[float, float]:
    """Give mean and variance of normal means by Paule and Mandel's (1982) iteration.

    The variance makes the weighted sum of squares equal its degrees of freedom; bisection.
    """
    if len(values) < 2:
        return (float(values[0]) if len(values) else 0.0), GROUP_SD**2
    low, high = 0.0, float(np.var(values) * 4 + 1e-6)
    for _ in range(50):
        middle = (low + high) / 2
        weights = 1.0 / (variances + middle + 1e-12)
        mean = np.sum(weights * values) / weights.sum()
        is_excess = np.sum(weights * (values - mean) ** 2) > len(values) - 1
        low, high = (middle, high) if is_excess else (low, middle)
    return float(mean), high


def pooled(
    values: Floats, variances: Floats, group: Integers, count: int, usual: float
) -> tuple[Floats, Floats, Floats, Floats]:
    """Shrink N values of known variance to the means of their groups.

    `group` (N,) is 0 ... count - 1, or `count` for members of no group; an infinite variance is
    of a member of which nothing is known. Gives posterior mean and sd of each (N,), and mean
    and sd of a new member of each group and, last, of any (count + 1,). `usual` is the mean
    where no member is known.
    """
    is_known = np.isfinite(variances)
    mean, spread = _between(values[is_known], variances[is_known])
    if not is_known.any():
        mean = usual
    means, sds, within = _groups(values, variances, group, count, mean)
    means, sds = np.append(means, mean), np.append(sds, np.sqrt(spread))
    within = np.append(within, spread)
    prior = within[group]
    kept = np.where(is_known, prior / (prior + np.where(is_known, variances, 1.0)), 0.0)
    posterior = means[group] + kept * (values - means[group])
    of_mean = np.maximum(sds[group] ** 2 - prior, 0.0)
    return posterior, np.sqrt((1 - kept) * prior + (1 - kept) ** 2 * of_mean), means, sds


def _groups(
    values: Floats, variances: Floats, group: Integers, count: int, overall: float
) -> tuple[Floats, Floats, Floats]:
    """Give by group the mean, the sd of a new member, and the variance within."""
    known = [np.flatnonzero(np.isfinite(variances) & (group == code)) for code in range(count)]
    found = [_between(values[chosen], variances[chosen]) for chosen in known]
    sizes = np.array([len(chosen) for chosen in known], dtype=np.float64)
    spreads = np.array([spread for _, spread in found]).reshape(-1)
    all_sizes = np.maximum(sizes - 1, 0.0)
    shared = np.sum(all_sizes * spreads) / all_sizes.sum() if all_sizes.sum() else GROUP_SD**2
    within = (all_sizes * spreads + PRIOR_MEMBERS * shared) / (all_sizes + PRIOR_MEMBERS)
    error = np.array(
        [
            1.0 / np.sum(1.0 / (variances[chosen] + spread)) if len(chosen) else np.inf
            for chosen, spread in zip(known, within, strict=True)
        ]
    ).reshape(-1)
    kept = GROUP_SD**2 / (GROUP_SD**2 + error)
    means = overall + kept * (np.array([mean for mean, _ in found]).reshape(-1) - overall)
    return means, np.sqrt(within + (1 - kept) * GROUP_SD**2), within
