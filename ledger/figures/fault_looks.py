"""Looks that found something new on a bike, since when it may have arisen, and at what distance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from ledger.analysis.distances import Readings, km_at, place
from ledger.figures.fault_arrays import (
    NONE,
    NULL_TIME,
    Flags,
    Floats,
    Integers,
    codes_in,
    days,
    floats,
    keys,
    last_before,
    micros,
)

_DAY_US = 86_400_000_000
_NEVER = np.iinfo(np.int64).max
_SAME_VISIT_DAYS = 30.0
"""How long after its last distance reading a bike is taken to be in the shop still."""


@dataclass(frozen=True, slots=True, eq=False)
class Finds:
    """Faults found on bikes, and the jobs of these."""

    bike: Integers
    """Of each find."""
    at: Integers
    job: Integers
    """Its place among the jobs; NONE where it was found in none."""
    bike_of_job: Integers
    closed: Integers
    """Of each job; NULL_TIME where it is open."""
    start: Integers
    """Of each bike: when its first job was closed; NULL_TIME where none was."""


@dataclass(frozen=True, slots=True, eq=False)
class Looks:
    """Looks that found something new after the bike's first job was closed, in no order."""

    bike: Integers
    since: Integers
    """When the bike's last job before was closed: what was found arose after that."""
    at: Integers
    start: Integers
    """Of each bike: when watching began and ended; NULL_TIME where it never began."""
    end: Integers


def looks_of(finds: Finds) -> Looks:
    """Give one look a job that found anything, at its first find; finds of no job are by days."""
    start = finds.start[np.maximum(finds.bike, 0)]
    is_asked = (finds.bike != NONE) & (start != NULL_TIME) & (finds.at > start)
    at, job, bike = finds.at[is_asked], finds.job[is_asked], finds.bike[is_asked]
    first = np.full(len(finds.closed), _NEVER)
    np.minimum.at(first, job[job != NONE], at[job != NONE])
    jobs = np.flatnonzero(first != _NEVER)
    loose = _days_apart(bike[job == NONE], at[job == NONE])
    bike = np.concatenate([finds.bike_of_job[jobs], bike[job == NONE][loose]])
    at = np.concatenate([first[jobs], at[job == NONE][loose]])
    of_job = np.where(finds.closed == NULL_TIME, NONE, finds.bike_of_job)
    before = last_before(of_job, finds.closed, bike, at)
    end = finds.start.copy()
    np.maximum.at(end, of_job[of_job != NONE], finds.closed[of_job != NONE])
    np.maximum.at(end, bike, at)
    # Watching began with a closing, so that there is one before every look.
    return Looks(bike, finds.closed[before] if len(before) else at, at, finds.start, end)


def _days_apart(bike: Integers, at: Integers) -> Integers:
    """Give the finds that come a day or more after the one before on their bike, or first."""
    order = np.lexsort((at, bike))
    bike, at = bike[order], at[order]
    is_new = np.ones(len(order), dtype=np.bool_)
    is_new[1:] = (bike[1:] != bike[:-1]) | (at[1:] - at[:-1] >= _DAY_US)
    return order[is_new]


def kms_at(
    distances: pa.Table, bikes: pa.Array, asked: Sequence[tuple[Integers, Integers]]
) -> list[Floats]:
    """Give bikes' km at instants, for each of some columns of (bike, instant).

    `distances` is the relation `distance_readings`. Between readings the km are interpolated by
    time; NaN before a bike's first, and long after its last: soon after it, it is in the shop.
    """
    bike, at = codes_in(distances["bike"], bikes), micros(distances["occurred_at"])
    read = np.flatnonzero(bike != NONE)
    bike, at, km = bike[read], at[read], floats(distances["distance_total_km"])[read]
    every = [(bike, at), *((of[of != NONE], when[of != NONE]) for of, when in asked)]
    key = keys(*(np.concatenate(column) for column in zip(*every, strict=True)))
    parts = np.split(key, np.cumsum([len(of) for of, _ in every])[:-1])
    order = np.argsort(parts[0], kind="stable")
    known = _Read(bike[order], days(at[order]), km[order], parts[0][order])
    found = []
    for (of, when), wanted in zip(asked, parts[1:], strict=True):
        kms = np.full(len(of), np.nan)
        kms[of != NONE] = known.km_at(of[of != NONE], when[of != NONE], wanted)
        found.append(kms)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class _Read:
    """Distance readings in order of bike and time."""

    bike: Integers
    at_days: Floats
    km: Floats
    key: Integers

    def km_at(self, of: Integers, when: Integers, key: Integers) -> Floats:
        """Give bikes' km at instants, whose keys are those of the readings'."""
        after = np.searchsorted(self.key, key, side="right")
        before = after - 1
        nothing = np.zeros(len(self.km))
        readings = Readings(self.at_days, self.km, nothing, nothing)
        places = place(days(when), self._own(before, of), self._own(after, of), readings)
        known = km_at(places, readings, np.zeros(len(of)))
        is_near = (places.offset_days >= 0) & (places.offset_days <= _SAME_VISIT_DAYS)
        return np.where(is_near, known, np.nan)

    def _own(self, index: Integers, of: Integers) -> Integers:
        """Give readings' places, NONE where there is none or it is another bike's."""
        near = np.clip(index, 0, len(self.bike) - 1)
        is_own: Flags = (index >= 0) & (index < len(self.bike)) & (self.bike[near] == of)
        return np.where(is_own, index, NONE)
