"""Robust lines, rank correlation and weighted quantiles: scipy's and numpy's, in our words."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import stats

from ledger.analysis.life_bounds import (
    Column,
    FloatArray,
    TooFewLives,
    figures,
    refuse,
    same_length,
    share_between,
)


class TheilSen(NamedTuple):
    """A robust line: the median of the slopes between all pairs of points."""

    slope: float
    intercept: float
    """median y - slope * median x."""
    lower: float
    """The interval of the slope."""
    upper: float


class Kendall(NamedTuple):
    """How far two columns rise together: tau-b, and how likely so far from 0 by chance alone."""

    tau: float
    p_value: float


def theil_sen(x: Column, y: Column, level: float = 0.95) -> TheilSen:
    """Give the Theil–Sen line of y on x, with the interval of its slope at `level`.

    Raises `BadLives` for figures that are not finite numbers or columns of different length,
    `TooFewLives` for fewer than two different x. Source: Sen, J. Am. Stat. Assoc. 63 (1968).
    """
    across, up = _pair(x, y)
    share_between(level, "level")
    found = stats.theilslopes(up, across, alpha=level, method="separate")
    low, high = float(found.low_slope), float(found.high_slope)
    return TheilSen(float(found.slope), float(found.intercept), low, high)


def kendall(x: Column, y: Column) -> Kendall:
    """Give Kendall's tau-b of two columns; errors as in `theil_sen`, and where all y are equal."""
    across, up = _pair(x, y)
    if up.min() == up.max():
        raise TooFewLives("column", "y", "all are equal", "Give two different ones")
    found = stats.kendalltau(across, up)
    return Kendall(float(found.statistic), float(found.pvalue))


def weighted_quantile(values: Column, weights: Column, shares: Column) -> FloatArray:
    """Give the smallest value that at least each share of the weight does not exceed.

    Raises `BadLives` for figures that are not finite, weights below 0 or shares outside 0 to 1,
    `TooFewLives` where there is no weight.
    """
    figure, weight = figures(values, "values"), figures(weights, "weights")
    share = figures(shares, "shares")
    same_length(figure, {"weights": weight})
    refuse(~np.isfinite(figure), "values", "it is infinite", "Give a number")
    refuse(~(np.isfinite(weight) & (weight >= 0)), "weights", "it is no weight", "Give 0 or more")
    refuse((share < 0) | (share > 1), "shares", "it is no share", "Give one from 0 to 1")
    if not weight.sum() > 0:
        raise TooFewLives("column", "weights", "there is none", "Give one above 0")
    quantiles = np.quantile(figure, share, weights=weight, method="inverted_cdf")
    return np.asarray(quantiles, dtype=np.float64)


def _pair(x: Column, y: Column) -> tuple[FloatArray, FloatArray]:
    across, up = figures(x, "x"), figures(y, "y")
    same_length(across, {"y": up})
    for field, column in (("x", across), ("y", up)):
        refuse(~np.isfinite(column), field, "it is infinite", "Give a number")
    if len(np.unique(across)) < 2:
        raise TooFewLives("column", "x", "all are equal", "Give two different ones")
    return across, up
