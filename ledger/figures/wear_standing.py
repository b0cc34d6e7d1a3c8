"""How every part of a book stands, in arrays: which to list first, without working all of them out.

A list shows the first few of what may be a million parts. What orders and counts them is worked out
of all at once; a whole PartWear is made of those that are shown.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis import wear_forecast
from ledger.analysis.wear import FamilyFit
from ledger.analysis.wear_data import Flags, Floats, Ints
from ledger.analysis.wear_forecast import MIDDLE
from ledger.figures.wear_now import Now, last_rows
from ledger.figures.wear_parts import is_read_past, some_parts
from ledger.figures.wear_shapes import LIKELY, PartWear, was_past

if TYPE_CHECKING:
    from ledger.figures.wear import BookWear


@dataclass(frozen=True)
class FamilyStanding:
    """The series (S,) of a family as they stand at the instant asked."""

    wear: BookWear
    each: FamilyFit

    @property
    def now(self) -> Now:
        """How far each has gone."""
        return self.wear.now_of(self.each)

    @cached_property
    def chance(self) -> Floats:
        """The chance of being past its limit now; NaN where none is told."""
        state, limit = self.each.state, self.each.family.limit
        if state is None:
            return np.full(len(limit), np.nan)
        seen = wear_forecast.at(state, self.now.x, self.now.error**2)
        return np.where(np.isnan(limit), np.nan, seen.chance_above(limit))

    @cached_property
    def is_read_past(self) -> Flags:
        """Whether the last reading, the whole of it, is at the limit or past it."""
        return is_read_past(self.wear, self.each)

    @property
    def count_past(self) -> int:
        """How many fitted ones are more likely past their limit than not."""
        is_past = np.where(np.isnan(self.chance), self.is_read_past, self.chance >= LIKELY)
        return int((is_past & self.now.is_fitted).sum())

    @cached_property
    def percent(self) -> Floats:
        """The chance in whole percent; where none is told 100 for one read past, -100 else."""
        unknown = np.where(self.is_read_past, 100.0, -100.0)
        return np.where(np.isnan(self.chance), unknown, np.round(100 * self.chance))

    @cached_property
    def read_us(self) -> Ints:
        """When each was read last, in microseconds since 1970."""
        read = self.wear.tables.readings["measured_at"].take(pa.array(last_rows(self.each)))
        return np.asarray(pc.cast(read, pa.int64()).to_numpy(), dtype=np.int64)

    def beyond(self, which: Ints) -> Floats:
        """Give how far past its limit each would measure, as a share of it; 0 where not told."""
        state, turn = self.each.state, self.each.family.direction
        if state is None:
            return np.zeros(len(which))
        x, error = self.now.x[which], self.now.error[which]
        figure = wear_forecast.at(state.of(which), x, error**2).quantile(MIDDLE)
        limit = self.each.family.limit[which]
        with np.errstate(invalid="ignore", divide="ignore"):
            share = (figure - limit) / (turn * limit)
        return np.where(np.isfinite(share), share, 0.0)


def likeliest(standings: Iterable[FamilyStanding], most: int) -> list[PartWear]:
    """Give the first so many fitted parts of families, the likeliest past their limit first.

    Of those that are alike in whole percent first who would measure furthest past it, then who was
    read last, then by series.
    """
    picked = [(one, which) for one in standings for which in [_foremost(one, most)] if len(which)]
    ordered: list[tuple[tuple[float, float, int, str], FamilyStanding, int]] = []
    for one, which in picked:
        beyond, names = one.beyond(which).tolist(), one.each.family.series
        for place, over in zip(which.tolist(), beyond, strict=True):
            key = (-float(one.percent[place]), -over, -int(one.read_us[place]), names[place])
            ordered.append((key, one, place))
    ordered.sort(key=lambda row: row[0])
    return _made([(one, place) for _, one, place in ordered[:most]])


def in_order(parts: Iterable[PartWear]) -> list[PartWear]:
    """Give parts in the same order as `likeliest` does."""

    def key(part: PartWear) -> tuple[float, float, float, str]:
        chance = part.chance_past
        unknown = 100.0 if was_past(part) else -100.0
        percent = unknown if chance is None else round(100 * chance)
        return -percent, -_beyond(part), -part.last.measured_at.timestamp(), part.series

    return sorted(parts, key=key)


def _beyond(part: PartWear) -> float:
    """Give how far past its limit a part would measure, as a share of the limit."""
    if part.now is None or part.now.middle is None or not part.limit:
        return 0.0
    return part.direction * (part.now.middle - part.limit) / part.limit


def _foremost(one: FamilyStanding, most: int) -> Ints:
    """Give the fitted series that may be among the first so many."""
    there = np.flatnonzero(one.now.is_fitted)
    if len(there) <= most:
        return there
    percent = one.percent[there]
    found: Ints = there[percent >= np.partition(percent, -most)[-most]]
    return found


def _made(chosen: Sequence[tuple[FamilyStanding, int]]) -> list[PartWear]:
    """Give the parts in the order they were chosen."""
    places: dict[int, tuple[FamilyStanding, list[int]]] = {}
    for one, place in chosen:
        places.setdefault(id(one), (one, []))[1].append(place)
    parts = {
        (key, place): part
        for key, (one, which) in places.items()
        for place, part in zip(
            sorted(which), some_parts(one.wear, one.each, np.array(sorted(which))), strict=True
        )
    }
    return [parts[id(one), place] for one, place in chosen]
