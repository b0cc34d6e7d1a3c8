"""Actual over quoted minutes: the middle, the spread, and how often far too long."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ledger.analysis.histories import numbers
from ledger.analysis.life_bounds import Column, FloatArray, refuse, same_length, share_between
from ledger.analysis.rounding import IntArray

TOO_LONG = 1.2
"""A job or task is over when it took more than this times what was quoted."""
FEWEST = 8
"""Fewer have no spread worth showing."""
SHARES = (0.1, 0.25, 0.5, 0.75, 0.9)


@dataclass(frozen=True, slots=True)
class Spread:
    """Actual over quoted of a group; None where there is nothing to compare."""

    count: int
    """Of those with actual and quoted minutes above 0; the others do not count."""
    median: float | None
    low_quartile: float | None
    high_quartile: float | None
    low_tenth: float | None
    high_tenth: float | None
    count_over: int
    """Took more than `TOO_LONG` times what was quoted."""
    share_over: float | None
    share_over_low: float | None
    """Wilson's interval of the share at `level`."""
    share_over_high: float | None
    level: float

    @property
    def is_judged(self) -> bool:
        """Say whether there are enough to judge by; where not: too few to judge."""
        return self.count >= FEWEST


def spread(actual: Column, quoted: Column, *, level: float = 0.95) -> Spread:
    """Give the spread of actual over quoted minutes; see `spreads`."""
    return spreads(actual, quoted, np.zeros(len(actual), dtype=np.int64), 1, level=level)[0]


def spreads(
    actual: Column, quoted: Column, group: IntArray, count_groups: int, *, level: float = 0.95
) -> tuple[Spread, ...]:
    """Give the spread of each group, from columns (N,); `group` numbers them from 0.

    Quantiles lie between neighbours as in numpy's `linear` (Hyndman and Fan's type 7, what
    Python's `statistics.quantiles` calls inclusive). Raises `BadLives` for columns of unlike
    length and figures that are none.
    """
    done, told = numbers(actual, "actual"), numbers(quoted, "quoted")
    same_length(done, {"quoted": told, "group": np.asarray(group, dtype=np.float64)})
    refuse((group < 0) | (group >= count_groups), "group", "there is no such group", "Number it")
    share_between(level, "level")
    is_both = (done > 0) & (told > 0)
    ratio, of = done[is_both] / told[is_both], np.asarray(group)[is_both]
    # Numbers of few groups are told apart by their digits, in one pass.
    few = of.astype(np.int16) if count_groups <= np.iinfo(np.int16).max else of
    order = np.argsort(few, kind="stable")
    ends = np.searchsorted(few[order], np.arange(count_groups + 1))
    by_group = ratio[order]
    return tuple(_spread(by_group[begin:end], level) for begin, end in itertools.pairwise(ends))


def wilson(count: int, of: int, level: float = 0.95) -> tuple[float, float]:
    """Give the interval of a share, count of so many (Wilson, J. Am. Stat. Assoc. 22, 1927)."""
    z = float(ndtri((1 + level) / 2))
    share, weight = count / of, z * z / of
    middle = share + weight / 2
    reach = math.sqrt(weight * (share * (1 - share) + weight / 4))
    low, high = (middle - reach) / (1 + weight), (middle + reach) / (1 + weight)
    return (low if count else 0.0), (high if count < of else 1.0)


def _spread(ratios: FloatArray, level: float) -> Spread:
    count = len(ratios)
    if not count:
        return Spread(0, None, None, None, None, None, 0, None, None, None, level)
    tenth, quarter, median, three_quarters, ninety = (
        float(value) for value in np.quantile(ratios, SHARES)
    )
    over = int(np.count_nonzero(ratios > TOO_LONG))
    low, high = wilson(over, count, level)
    return Spread(
        count, median, quarter, three_quarters, tenth, ninety, over, over / count, low, high, level
    )
