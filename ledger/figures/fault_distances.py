"""How far bikes had gone when a fault was found or put right, from their distance readings.

Between two readings it is interpolated by time. Before a bike's first reading and beyond its
last, the bike goes its own kilometres a day: all it rode between readings of one computer, over
those days. Where they are too few to tell, nobody knows how far it went. Unlike wear, no bike
leans on others here, so that a come-back is the same whoever else is asked about.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa

from ledger.analysis.distances import NONE, Readings, km_at, place
from ledger.figures.fault_arrays import Floats, Integers, codes_in, floats, micros

MOMENT = pa.timestamp("us", tz="UTC")
_DAY_US = 86_400_000_000
LEAST_DAYS = 30.0
"""A bike's own kilometres a day are known from this many days between readings on."""


@dataclass(frozen=True)
class BikeDistances:
    """The distance readings of bikes, by bike, then time, then seq; `bike` are codes."""

    bike: Integers
    at_us: Integers
    seq: Integers
    computer: Integers
    km: Floats
    """Summed over the bike's computers."""

    @classmethod
    def of(cls, readings: pa.Table, bikes: pa.Array) -> BikeDistances:
        """Give rows of the relation `distance_readings`; a bike's code is its place in `bikes`.

        Readings of other bikes are left out.
        """
        bike = codes_in(readings["bike"], bikes)
        at_us, seq = micros(readings["occurred_at"]), np.asarray(readings["seq"])
        order = np.lexsort((seq, at_us, bike))
        order = order[bike[order] != NONE]
        return cls(
            bike=bike[order],
            at_us=at_us[order],
            seq=seq[order],
            computer=np.asarray(readings["computer"], dtype=np.int64)[order],
            km=floats(readings["distance_total_km"])[order],
        )

    @cached_property
    def km_per_day(self) -> Floats:
        """Give each bike's own rate, by code; NaN where it is not known."""
        start, end = np.arange(len(self.bike) - 1), np.arange(1, len(self.bike))
        is_one = self.bike[start] == self.bike[end]
        is_one &= self.computer[start] == self.computer[end]
        count = int(self.bike.max(initial=-1)) + 1
        km, days = (
            np.bincount(self.bike[end[is_one]], weights=value[is_one], minlength=count)
            for value in (np.diff(self.km), np.diff(self.at_us) / _DAY_US)
        )
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(days >= LEAST_DAYS, np.maximum(km, 0.0) / days, np.nan)

    def km_at(self, bike: Integers, at_us: Integers, seq: Integers) -> Floats:
        """Give how far each bike had gone at marks by (time, seq); NaN where not known."""
        before = self._last_before(bike, at_us, seq)
        after = self._or_none(before + 1, bike)
        before = self._or_none(before, bike)
        days = self.at_us / _DAY_US
        readings = Readings(days, self.km, np.zeros(len(days)), np.zeros(len(days)))
        rate = self.km_per_day
        known = bike < len(rate)
        own = np.where(known, rate[np.where(known, bike, 0)] if len(rate) else np.nan, np.nan)
        return km_at(place(at_us / _DAY_US, before, after, readings), readings, own)

    def latest(self, bike: Integers) -> tuple[Floats, pa.Array]:
        """Give how far each bike had gone at its last reading (NaN where it has none), and when
        that was (null)."""
        last = self._or_none(np.searchsorted(self.bike, bike, side="right") - 1, bike)
        is_none = last == NONE
        if not len(self.km):
            return np.full(len(bike), np.nan), pa.nulls(len(bike), MOMENT)
        at_us = pa.array(self.at_us[last], mask=is_none)
        return np.where(is_none, np.nan, self.km[last]), at_us.cast(MOMENT)

    def _last_before(self, bike: Integers, at_us: Integers, seq: Integers) -> Integers:
        """Give the last reading of any bike that comes before each mark in (bike, time, seq)."""
        count = len(self.bike)
        order = np.lexsort(
            tuple(
                np.concatenate(pair)
                for pair in ((self.seq, seq), (self.at_us, at_us), (self.bike, bike))
            )
        )
        is_reading = order < count
        before = np.cumsum(is_reading) - 1
        found = np.empty(len(bike), dtype=np.int64)
        found[order[~is_reading] - count] = before[~is_reading]
        return found

    def _or_none(self, row: Integers, bike: Integers) -> Integers:
        """Give the row where it is a reading of that bike, else NONE."""
        inside = (row >= 0) & (row < len(self.bike))
        if not len(self.bike):
            return np.full(len(row), NONE, dtype=np.int64)
        is_own = inside & (self.bike[np.where(inside, row, 0)] == bike)
        return np.where(is_own, row, NONE)
