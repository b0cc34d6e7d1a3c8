"""What was known of a bike at a mark: its riding, its part there, its visits, how far it had gone.

Each is worked out for many marks at once from one relation, which is read when first asked for.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import NONE, Floats, Integers, coded, codes_in, micros, pairs
from ledger.figures.fault_distances import BikeDistances

Read = Callable[[str], pa.Table]
"""Gives a relation by name."""


@dataclass(frozen=True, slots=True, eq=False)
class When:
    """N moments of bikes: codes of the bikes, microseconds since 1970, seq."""

    bike: Integers
    at: Integers
    seq: Integers

    def take(self, rows: Integers) -> When:
        """Give the moments of these rows."""
        return When(self.bike[rows], self.at[rows], self.seq[rows])


def last_until(group: Integers, events: When, of_group: Integers, moments: When) -> Integers:
    """Give for each moment the row of the last event of its group until then, or NONE.

    By time, then seq; an event of the very seq counts. `group` (codes from 0, NONE for none)
    tells apart what events, and `of_group` what moments are of.
    """
    count = len(group)
    columns = ((events.seq, moments.seq), (events.at, moments.at), (group, of_group))
    order = np.lexsort(tuple(np.concatenate(pair) for pair in columns))
    is_event = order < count
    last = np.maximum.accumulate(np.where(is_event, np.arange(len(order)), NONE))
    found = np.full(len(of_group), NONE, dtype=np.int64)
    asked = ~is_event & (last != NONE)
    found[order[asked] - count] = order[last[asked]]
    is_own = (found != NONE) & (of_group != NONE)
    if count:
        is_own &= group[np.maximum(found, 0)] == of_group
    return np.where(is_own, found, NONE)


@dataclass(frozen=True)
class Then:
    """What a book knew of its bikes at any moment."""

    read: Read
    bikes: pa.Array
    """The bikes asked about: a bike's code is its place here."""

    @cached_property
    def _visits(self) -> tuple[pa.Table, When]:
        return self._read("visit_marks")

    @cached_property
    def _closings(self) -> When:
        """Give the closings of jobs by bike, then time."""
        when = self._read("job_closings")[1]
        return when.take(np.lexsort((when.seq, when.at, when.bike)))

    @cached_property
    def _moves(self) -> tuple[pa.Table, When]:
        return self._read("part_moves")

    @cached_property
    def _distances(self) -> BikeDistances:
        return BikeDistances.of(self.read("distance_readings"), self.bikes)

    def _read(self, relation: str) -> tuple[pa.Table, When]:
        """Give the rows of a relation that are of the bikes asked about."""
        table = self.read(relation)
        bike = codes_in(table["bike"], self.bikes)
        table = table.filter(pa.array(bike != NONE)).combine_chunks()
        return table, When(bike[bike != NONE], micros(table["occurred_at"]), _seqs(table["seq"]))

    def tier(self, moments: When, job: pa.Array) -> pa.Array:
        """Give the tier of each job, as its last opening has it."""
        visits, when = self._visits
        jobs = coded(pa.concat_arrays([job, visits["job"].combine_chunks()]))
        is_opening = np.asarray(pc.equal(visits["kind"], "job_opened"))
        opened = np.flatnonzero(is_opening)
        late = np.full(len(moments.at), np.iinfo(np.int64).max)
        both = pairs(
            np.concatenate([moments.bike, when.bike[opened]]),
            np.concatenate([jobs.code[: len(job)], jobs.code[len(job) :][opened]]),
        )
        row = last_until(
            both[len(job) :], when.take(opened), both[: len(job)], When(moments.bike, late, late)
        )
        return _taken(visits["tier"].combine_chunks().take(pa.array(opened)), row)

    def riding(self, moments: When) -> pa.Array:
        """Give the kind of riding: the last that was told until then."""
        visits, when = self._visits
        told = np.flatnonzero(np.asarray(visits["riding"].is_valid()))
        when = when.take(told)
        row = last_until(when.bike, when, moments.bike, moments)
        return _taken(visits["riding"].combine_chunks().take(pa.array(told)), row)

    def count_closed(self, moments: When) -> Integers:
        """Give how many jobs of the bike were closed until then."""
        when = self._closings
        row = last_until(when.bike, when, moments.bike, moments)
        first = np.searchsorted(when.bike, moments.bike)
        return np.where(row == NONE, 0, row - first + 1)

    def part(self, moments: When, position: pa.Array, is_fitting: Integers) -> dict[str, pa.Array]:
        """Give part, make and model fitted at each position then.

        Where `is_fitting`, the moment is the fitting of a part: that one, wherever it sits.
        """
        moves, when = self._moves
        places = coded(pa.concat_arrays([position, moves["position"].combine_chunks()]))
        count = len(position)
        both = pairs(np.concatenate([moments.bike, when.bike]), places.code)
        row = last_until(both[count:], when, both[:count], moments)
        own = pc.index_in(pa.array(moments.seq), value_set=moves["seq"].combine_chunks())
        row = np.where(is_fitting, np.asarray(own.fill_null(NONE)), row)
        is_there = np.asarray(pc.equal(moves["kind"], "part_fitted"))
        if len(is_there):
            row = np.where((row != NONE) & is_there[np.maximum(row, 0)], row, NONE)
        return {
            name: _taken(moves[name].combine_chunks(), row) for name in ("part", "make", "model")
        }

    def km(self, moments: When) -> Floats:
        """Give how far the bike had gone, summed over computers; NaN where not known."""
        return self._distances.km_at(moments.bike, moments.at, moments.seq)

    def latest(self, bike: Integers) -> tuple[Floats, pa.Array]:
        """Give the km at each bike's last distance reading, and when that was."""
        return self._distances.latest(bike)

    def observed_until(self, bike: Integers) -> pa.Array:
        """Give when each bike was last heard of."""
        seen = self.read("observed_bikes")
        place = pc.index_in(self.bikes, value_set=seen["bike"].combine_chunks())
        return seen["observed_until"].combine_chunks().take(place).take(pa.array(bike))


def _seqs(column: pa.ChunkedArray) -> Integers:
    return np.asarray(column.to_numpy(), dtype=np.int64)


def _taken(values: pa.Array, row: Integers) -> pa.Array:
    """Give values at rows; null where the row is NONE."""
    return values.take(pa.array(row, mask=row == NONE))
