"""How likely a funnel marks a unit whose rate differs, and how to say so."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binom

from ledger.analysis.funnel_chances import Cells, chances_of
from ledger.analysis.funnel_marks import Held, attained_by_each, limits, tails_of, thresholds
from ledger.analysis.life_bounds import BoolArray, FloatArray

Sizes = NDArray[np.int64]

_COUNT_NODES = 64
"""Equally likely totals of the others that stand for all of them."""
_SURE = 12
"""Standard deviations at which the power is 1 to six digits, were there a thousand units."""
_COUNT_LIMITS = 200
"""Limits worked out outright; between them they are interpolated."""


def powers(
    sizes: Sizes, rate: float, ratio: float, *, level: float, held: Held, which: Sizes
) -> FloatArray:
    """Give, for each of `which` units, how likely it is marked were its rate `ratio` times `rate`.

    All others have `rate`. Marked in the direction of the ratio, by what `level` and `held` say.
    Exact but for 64 nodes over the others' totals and, in large shops, limits interpolated.
    """
    found = np.ones(len(which))
    is_open = ~_is_sure(sizes, rate, ratio)[which]
    if not is_open.any():
        return found
    totals, low, high = _limits_by_total(sizes, rate, ratio, level, held)
    side = high if ratio >= 1 else low
    found[is_open] = [
        _power(sizes, unit, rate, ratio, totals, side[:, unit]) for unit in which[is_open]
    ]
    return found


def _is_sure(sizes: Sizes, rate: float, ratio: float) -> BoolArray:
    """Say which units would be so many standard deviations out that nothing need be worked out."""
    off = sizes * rate * abs(ratio - 1)
    others = np.maximum(sizes.sum() - sizes, 1)
    sd = np.sqrt(sizes * rate * max(ratio, 1.0) * (1 + sizes / others))
    return np.asarray(off > _SURE * sd)


def _limits_by_total(
    sizes: Sizes, rate: float, ratio: float, level: float, held: Held
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Give totals of events, and the limits of every unit's count at each: (totals, units)."""
    largest = int(sizes.max())
    mean = sizes.sum() * rate
    least = min(mean, mean + largest * rate * (ratio - 1))
    most = max(mean, mean + largest * rate * (ratio - 1))
    span = np.array([least - 5 * np.sqrt(least) - 5, most + 5 * np.sqrt(most) + 5])
    first, last = np.clip(span, 0, sizes.sum()).astype(int)
    count = int(np.clip(_COUNT_LIMITS // len(sizes), 8, last - first + 1))
    totals = np.unique(np.linspace(first, last, count).astype(np.int64))
    found = [_limits_at(sizes, int(total), level, held) for total in totals]
    bounds = np.array(found, dtype=np.float64)
    return totals.astype(np.float64), bounds[:, :, 0], bounds[:, :, 1]


def _limits_at(sizes: Sizes, total: int, level: float, held: Held) -> list[tuple[int, int]]:
    cells = Cells(np.array([sizes.sum()]), np.array([total]), sizes[None, :])
    tails = [tails_of(each) for each in chances_of(cells)]
    most = thresholds(attained_by_each(tails, held), 1 - level)
    return [limits(*each) for each in zip(tails, most, strict=True)]


def _power(
    sizes: Sizes,
    unit: int,
    rate: float,
    ratio: float,
    totals: FloatArray,
    limit: FloatArray,
) -> float:
    """Give the mean, over the others' totals, of the chance of a count past the limit there."""
    size, of_others = int(sizes[unit]), int(sizes.sum() - sizes[unit])
    others = binom.ppf((np.arange(_COUNT_NODES) + 0.5) / _COUNT_NODES, of_others, rate)
    is_up = ratio >= 1
    count = _first_beyond(size, others, totals, limit, is_up)
    own = min(rate * ratio, 1.0)
    chance = binom.sf(count - 1, size, own) if is_up else binom.cdf(count - 1, size, own)
    return float(np.mean(chance))


def _first_beyond(
    size: int, others: FloatArray, totals: FloatArray, limit: FloatArray, is_up: bool
) -> FloatArray:
    """Give the least count above the upper limit, or not below the lower one, by halving.

    The limit at a total of one more is at most one more, so beyond it all counts are.
    """
    low, high = np.zeros(len(others)), np.full(len(others), size + 1.0)
    for _ in range(int(np.log2(size + 1)) + 2):
        middle = np.floor((low + high) / 2)
        bound = np.rint(np.interp(middle + others, totals, limit))
        is_beyond = (middle > bound) if is_up else (middle >= bound)
        low, high = (
            np.where(is_beyond, low, np.minimum(middle + 1, high)),
            np.where(is_beyond, middle, high),
        )
    return high
