"""From how likely counts are to which are marked: exact tails, p-values and limits.

A unit's p-value is the chance of a count at least as far out in its tail as the one seen, in
either tail: Blaker, Canadian J. Statistics 28 (2000). For a whole shop it is (at most) the chance
that any unit gets that far out: the sum over units of the tails that can be that small, which is
Bonferroni's bound with each unit's counts as they come (Tarone, Biometrics 46, 1990; Westfall and
Wolfinger, American Statistician 51, 1997). Two units are mirror images and count once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ledger.analysis.funnel_chances import Chances, CountArray
from ledger.analysis.life_bounds import FloatArray

Held = Literal["shop", "unit"]
"""Whether no unit of a shop, or each unit on its own, is marked by chance but 1 - level."""

_TIE = 1 + 1e-9
"""Tails this near are the same tail worked out twice."""


@dataclass(frozen=True, slots=True, eq=False)
class Tails:
    """How far out each count of a unit is: the chance of as few, of as many, events."""

    first: int
    as_few: FloatArray
    as_many: FloatArray

    @property
    def nearer(self) -> FloatArray:
        """Give the smaller of the two."""
        return np.minimum(self.as_few, self.as_many)

    @property
    def is_open(self) -> bool:
        """Say whether more than one count can happen."""
        return len(self.as_few) > 1

    def place(self, count: int) -> int:
        """Give where a count stands, those beyond all that are worked out at the ends."""
        return int(np.clip(count - self.first, 0, len(self.as_few) - 1))


@dataclass(frozen=True, slots=True, eq=False)
class Attained:
    """How often a tail is as small as a figure: steps at the figures that tails can have."""

    tail: FloatArray
    chance: FloatArray

    def at(self, tail: FloatArray) -> FloatArray:
        """Give the chance of a tail no larger than each given, at most 1."""
        place = np.searchsorted(self.tail, tail * _TIE, side="right") - 1
        return np.minimum(np.where(place < 0, 0.0, self.chance[np.maximum(place, 0)]), 1.0)

    def threshold(self, share: float) -> float:
        """Give the largest tail that is reached with no more than this chance; 0 where none is."""
        is_rare = self.at(self.tail) <= share
        return float(self.tail[is_rare].max(initial=0.0))


def tails_of(chances: Chances) -> Tails:
    """Give the tails of a unit's counts."""
    as_few = np.cumsum(chances.chance)
    as_many = np.cumsum(chances.chance[::-1])[::-1]
    return Tails(chances.first, as_few, as_many)


def attained(tails: Sequence[Tails]) -> Attained:
    """Give how often any of these units has a tail as small as asked."""
    if not tails:
        return Attained(np.ones(1), np.ones(1))
    sides = [side for each in tails for side in (each.as_few, each.as_many[::-1])]
    tail = np.concatenate(sides)
    chance = np.concatenate([np.diff(side, prepend=0.0) for side in sides])
    order = np.argsort(tail, kind="stable")
    return Attained(tail[order], np.cumsum(chance[order]))


def attained_by_each(tails: Sequence[Tails], held: Held) -> list[Attained]:
    """Give, for each unit, how often tails are as small: the shop's, or its own alone."""
    if held == "unit":
        return [attained([each]) for each in tails]
    is_open = [each for each in tails if each.is_open]
    shop = attained(is_open[:1] if len(is_open) == 2 else is_open)
    return [shop] * len(tails)


def thresholds(reached: Sequence[Attained], share: float) -> list[float]:
    """Give each unit's largest tail that is reached with no more than this chance."""
    of_each = {id(each): each for each in reached}
    largest = {name: each.threshold(share) for name, each in of_each.items()}
    return [largest[id(each)] for each in reached]


def limits(tails: Tails, threshold: float) -> tuple[int, int]:
    """Give the least and the greatest count that is not marked: its tail is above the threshold.

    The median never is marked, since both its tails hold a half.
    """
    is_within = np.flatnonzero(tails.nearer > threshold * _TIE)
    return tails.first + int(is_within[0]), tails.first + int(is_within[-1])


def p_values(tails: Sequence[Tails], reached: Sequence[Attained], count: CountArray) -> FloatArray:
    """Give the p-value of each unit's count."""
    values = [
        each.at(unit.nearer[[unit.place(int(seen))]])[0] if unit.is_open else 1.0
        for unit, each, seen in zip(tails, reached, count, strict=True)
    ]
    return np.array(values, dtype=np.float64)
