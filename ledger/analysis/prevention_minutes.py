"""Median minutes of the next job, with and without, and how sure their difference is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ledger.analysis.life_bounds import BoolArray, FloatArray

_MOST_VALUES = 1000
"""Different figures told apart in the resampling."""


@dataclass(frozen=True, slots=True)
class MinutesApart:
    """Median minutes of the next job by arm; None where an arm had no next job."""

    treated: float | None
    untreated: float | None
    count_treated: int
    """Bikes that had a next job there."""
    count_untreated: int
    difference: float | None
    low: float | None
    high: float | None


def minutes_apart(
    minutes: FloatArray, is_treated: BoolArray, level: float, resamples: int, seed: int
) -> MinutesApart:
    """Give the medians, and the percentiles of their difference in samples of whole bikes.

    `minutes` are NaN where there was no next job.
    """
    is_some = ~np.isnan(minutes)
    arms = [minutes[is_some & (is_treated == is_in)] for is_in in (True, False)]
    medians = [float(np.median(arm)) if len(arm) else None for arm in arms]
    one, other = medians
    if one is None or other is None:
        return MinutesApart(one, other, len(arms[0]), len(arms[1]), None, None, None)
    random = np.random.default_rng(seed)
    drawn = [resampled_medians(arm, resamples, random) for arm in arms]
    tails = [(1 - level) / 2, (1 + level) / 2]
    low, high = np.quantile(drawn[0] - drawn[1], tails)
    return MinutesApart(
        one, other, len(arms[0]), len(arms[1]), one - other, float(low), float(high)
    )


def resampled_medians(
    minutes: FloatArray, resamples: int, random: np.random.Generator
) -> FloatArray:
    """Give the medians of samples of as many jobs, drawn as counts of jobs alike."""
    values, counts = np.unique(minutes, return_counts=True)
    often = counts.astype(np.float64)
    if len(values) > _MOST_VALUES:
        ranks = (np.arange(_MOST_VALUES) + 0.5) / _MOST_VALUES
        values, often = np.quantile(minutes, ranks), np.ones(_MOST_VALUES)
    chance = often / often.sum()
    sums = np.cumsum(random.multinomial(len(minutes), chance, resamples), axis=1)
    lower = values[np.argmax(2 * sums >= len(minutes), axis=1)]
    upper = values[np.argmax(2 * sums > len(minutes), axis=1)]
    return np.asarray((lower + upper) / 2)
