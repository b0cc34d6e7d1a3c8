"""How likely each count of a unit's events is, were events to fall on all alike: exact sums.

In a cell (a stratum, or a moment in one) some of those at risk have an event. Were there no
difference between units, a unit's share of these would be hypergeometric; its count over all
cells is the sum of independent such counts. The sum is worked out by its characteristic function
over the counts that can happen: a sum of hypergeometric counts is a sum of trials (Vatutin and
Mikhailov, Theory Probab. Appl. 27, 1982), so exp(-variance * (1 - cos w)) bounds that function at
w and Bernstein's inequality bounds the tails. What is left out of either is below 1e-15.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ledger.analysis.life_bounds import FloatArray

CountArray = NDArray[np.int64]
ComplexArray = NDArray[np.complex128]

_NEGLIGIBLE = 42.0
"""Minus the logarithm of what may be left out."""

_NARROW = 20
"""Counts up to which two cells are added up outright."""


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Where events fell among units: one row a cell."""

    at_risk: CountArray
    """Shape (cells,): all at risk, of every unit."""
    events: CountArray
    """Shape (cells,): how many of them had one."""
    of_unit: CountArray
    """Shape (cells, units): how many of those at risk were each unit's."""

    @property
    def share(self) -> FloatArray:
        """Give each unit's share of those at risk; shape (cells, units)."""
        return np.asarray(self.of_unit / self.at_risk[:, None])

    @property
    def expected(self) -> FloatArray:
        """Give the events each unit would have, were they to fall on all alike."""
        return np.asarray(self.events @ self.share)

    @property
    def variance(self) -> FloatArray:
        """Give the variance of that count, a figure a unit."""
        share = self.share
        finite = (self.at_risk - self.events) / np.maximum(self.at_risk - 1, 1)
        return np.asarray((self.events * finite) @ (share * (1 - share)))


@dataclass(frozen=True, slots=True, eq=False)
class Chances:
    """How likely each count is: `chance[i]` that of `first + i` events; sums to 1."""

    first: int
    chance: FloatArray


def chances_of(cells: Cells, inflation: float = 1.0) -> list[Chances]:
    """Give, for each unit, how likely each count is; chances below 1e-12 are not to be relied on.

    An `inflation` above 1 widens the variance that many times, by a symmetric Skellam count of
    its own on top.
    """
    count_units = cells.of_unit.shape[1]
    return [_of_unit(cells, unit, inflation) for unit in range(count_units)]


def _of_unit(cells: Cells, unit: int, inflation: float) -> Chances:
    """Give the chances of one unit; cells in which only one count can happen are set apart."""
    own = np.ascontiguousarray(cells.of_unit[:, unit])
    is_all = own == cells.at_risk
    sure = int(cells.events[is_all].sum())
    is_open = (own > 0) & ~is_all & (cells.events > 0) & (cells.events < cells.at_risk)
    sure += int(own[(cells.events == cells.at_risk) & ~is_all].sum())
    if not is_open.any():
        return Chances(sure, np.ones(1))
    drawn = (cells.at_risk[is_open], cells.events[is_open], own[is_open])
    found = _one_cell(*drawn) if len(drawn[0]) == 1 and inflation == 1 else None
    found = found or _sum_of(*drawn, inflation)
    return Chances(found.first + sure, found.chance)


def _one_cell(at_risk: CountArray, events: CountArray, own: CountArray) -> Chances:
    start, stop = _reaches(at_risk, events, own)
    width = int(stop[0] - start[0] + 1)
    chance = _hypergeometric(at_risk, events, own, start, width)
    return Chances(int(start[0]), chance[:, 0])


def _sum_of(at_risk: CountArray, events: CountArray, own: CountArray, inflation: float) -> Chances:
    mean, variance = _moments(at_risk, events, own)
    spread = float(inflation * variance.sum())
    first, last = _window(mean.sum(), spread)
    if inflation == 1.0:
        first = max(first, int(np.maximum(0, events - (at_risk - own)).sum()))
        last = min(last, int(np.minimum(events, own).sum()))
    length = last - first + 1
    turn = np.arange(length // 2 + 1)
    wave = 1 - np.cos(2 * np.pi * turn / length)
    turn = turn[spread * wave <= _NEGLIGIBLE]
    total = np.exp(-(inflation - 1.0) * variance.sum() * wave[: len(turn)]).astype(complex)
    for start, chance in _by_width(at_risk, events, own):
        total *= _characteristic(start, chance, turn, length)
    total *= _turned(turn, -first, length)
    chance = np.maximum(np.fft.irfft(np.conj(total), length), 0.0)
    return _not_below_none(first, chance / chance.sum())


def _not_below_none(first: int, chance: FloatArray) -> Chances:
    """Put what a widened count has below 0 to 0."""
    if first >= 0:
        return Chances(first, chance)
    return Chances(0, np.append(chance[: 1 - first].sum(), chance[1 - first :]))


def _moments(
    at_risk: CountArray, events: CountArray, own: CountArray
) -> tuple[FloatArray, FloatArray]:
    share = own / at_risk
    finite = (at_risk - events) / np.maximum(at_risk - 1, 1)
    return events * share, events * share * (1 - share) * finite


def _window(mean: float, variance: float) -> tuple[int, int]:
    """Give the counts outside which less than exp(-42) is left, by Bernstein's inequality."""
    reach = 9.2 * np.sqrt(variance) + 2 * _NEGLIGIBLE / 3
    return int(np.floor(mean - reach)), int(np.ceil(mean + reach))


def _by_width(
    at_risk: CountArray, events: CountArray, own: CountArray
) -> Iterator[tuple[CountArray, FloatArray]]:
    """Give the cells' own chances, those of alike width together: first counts, chances."""
    start, stop = _reaches(at_risk, events, own)
    width = np.ceil(np.log2(stop - start + 1)).astype(int)
    for size in np.unique(width):
        here = width == size
        drawn = (at_risk[here], events[here], own[here])
        yield start[here], _hypergeometric(*drawn, start[here], 2 ** int(size))


def _reaches(
    at_risk: CountArray, events: CountArray, own: CountArray
) -> tuple[CountArray, CountArray]:
    """Give the least and greatest count of each cell that is worth a look."""
    mean, variance = _moments(at_risk, events, own)
    reach = 9.2 * np.sqrt(variance) + 2 * _NEGLIGIBLE / 3
    least = np.maximum(np.maximum(0, events - (at_risk - own)), np.floor(mean - reach))
    most = np.minimum(np.minimum(events, own), np.ceil(mean + reach))
    return least.astype(np.int64), most.astype(np.int64)


def _hypergeometric(
    at_risk: CountArray, events: CountArray, own: CountArray, start: CountArray, width: int
) -> FloatArray:
    """Give the chances of `width` counts from `start` on, by the quotients of neighbours.

    Shape (width, cells).
    """
    if width == 2 and not start.any():
        one = events * (own / at_risk)
        return np.stack([1 - one, one])
    count = start + np.arange(width - 1)[:, None]
    up = np.maximum((own - count) * (events - count), 0)
    with np.errstate(divide="ignore"):
        steps = np.log(up / ((count + 1) * np.maximum(at_risk - own - events + count + 1, 1)))
    logs = np.concatenate([np.zeros((1, len(start))), np.cumsum(steps, axis=0)])
    chance = np.exp(logs - logs.max(axis=0))
    return np.asarray(chance / chance.sum(axis=0))


def _characteristic(
    start: CountArray, chance: FloatArray, turn: CountArray, length: int
) -> ComplexArray:
    """Give the product of the cells' characteristic functions, one figure a turn."""
    few = _merged(chance)
    waves = _turned(turn[:, None] * np.arange(len(few)), 1, length)
    each = waves.real @ few + 1j * (waves.imag @ few)
    product = np.multiply.reduce(each, axis=1)
    return np.asarray(product * _turned(turn, int(start.sum()), length))


def _merged(chance: FloatArray) -> FloatArray:
    """Add cells up two by two while they are narrow: fewer waves to multiply."""
    while chance.shape[1] > 1 and len(chance) <= _NARROW:
        width, half = len(chance), chance.shape[1] // 2
        one, other, odd = np.split(chance, [half, 2 * half], axis=1)
        chance = np.zeros((2 * width - 1, half + odd.shape[1]))
        chance[:width, half:] = odd
        for count in range(width):
            chance[count : count + width, :half] += one * other[count]
    return chance


def _turned(turn: CountArray, count: int, length: int) -> ComplexArray:
    """Give exp(2 pi i count turn / length), the whole turns left out first."""
    return np.asarray(np.exp(2j * np.pi * ((count * turn) % length) / length))
