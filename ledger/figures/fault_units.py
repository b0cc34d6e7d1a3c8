"""What recurrent events happen to: bikes, parts and jobs, watched from age 0, group by group."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ledger.analysis.histories import Histories
from ledger.figures.fault_arrays import (
    NONE,
    NULL_TIME,
    Flags,
    Floats,
    Integers,
    days,
    flags,
    micros,
)
from ledger.figures.fault_tables import FaultTables

Names = tuple[tuple[str | None, str], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """The units of one group and what happened to them."""

    key: str | None
    label: str
    watched: Histories
    """Ages in whole days."""
    bike: Integers
    """Of each unit: one bike's units hang together."""


@dataclass(frozen=True, slots=True, eq=False)
class Units:
    """Units in order of their group, and events in order of their unit's group."""

    unit: Integers
    time: Floats
    end: Floats
    bike: Integers
    names: Names
    """Key and label of each group."""
    sort: Integers
    """Of each group, never falling: groups of one sort are held against each other."""
    first: Integers
    """Where each group begins among the units, and where the last one ends."""
    first_event: Integers

    def watched(self, start: int, stop: int) -> Histories:
        """Give the histories of the groups from one to before another."""
        units = slice(self.first[start], self.first[stop])
        events = slice(self.first_event[start], self.first_event[stop])
        end = self.end[units]
        nothing = np.zeros(len(end))
        unit = self.unit[events] - self.first[start]
        return Histories(unit, self.time[events], nothing, end, nothing.astype(np.bool_))

    def bikes(self, start: int, stop: int) -> Integers:
        """Give the bikes of the units of the groups from one to before another."""
        return self.bike[self.first[start] : self.first[stop]]

    def groups(self) -> Iterator[Group]:
        """Give every group."""
        for code, (key, label) in enumerate(self.names):
            of_one = (code, code + 1)
            yield Group(key, label, self.watched(*of_one), self.bikes(*of_one))

    def sorts(self) -> Iterator[tuple[int, int]]:
        """Give the first group of each sort, and the first past it."""
        starts = np.flatnonzero(np.append(True, np.diff(self.sort) > 0)).tolist()
        yield from zip(starts, [*starts[1:], len(self.names)], strict=True)


@dataclass(frozen=True, slots=True, eq=False)
class _Watch:
    """When units were watched, and what each is; one row a unit, in any order."""

    start: Integers
    end: Integers
    group: Integers
    """From 0 up; NONE where nothing is known of it."""
    bike: Integers


def _events(unit: Integers, at: Integers, start: Integers, end: Integers) -> Flags:
    """Tell which events fell in the watching of their unit; none of those of NONE does."""
    of = np.maximum(unit, 0)
    is_in: Flags = (unit != NONE) & (at >= start[of]) & (at <= end[of]) & (end[of] > start[of])
    return is_in


def _units(
    watch: _Watch, unit: Integers, at: Integers, names: Names, sort: Integers | None = None
) -> Units | None:
    """Put units in order of their group; None where no unit was watched for any time."""
    is_in = (watch.end > watch.start) & (watch.group != NONE)
    rows = np.flatnonzero(is_in)
    if not len(rows):
        return None
    rows = rows[np.argsort(watch.group[rows].astype(_narrow(len(names))), kind="stable")]
    place = np.full(len(is_in), NONE, dtype=np.int64)
    place[rows] = np.arange(len(rows))
    kept = np.flatnonzero(_events(unit, at, watch.start, watch.end))
    kept = kept[place[unit[kept]] != NONE]
    of = unit[kept]
    order = np.argsort(watch.group[of].astype(_narrow(len(names))), kind="stable")
    of, kept = of[order], kept[order]
    used, first = np.unique(watch.group[rows], return_index=True)
    return Units(
        unit=place[of],
        time=np.floor(days(at[kept] - watch.start[of])),
        end=np.floor(days(watch.end[rows] - watch.start[rows])),
        bike=watch.bike[rows],
        names=tuple(names[code] for code in used.tolist()),
        sort=np.zeros(len(used), dtype=np.int64) if sort is None else sort[used],
        first=np.append(first, len(rows)),
        first_event=np.append(np.searchsorted(watch.group[of], used), len(of)),
    )


def _narrow(count: int) -> type[np.int16] | type[np.int64]:
    """Give a type of number that sorts by its digits, where there are few groups."""
    return np.int16 if count < 2**15 else np.int64


def _named(names: tuple[str, ...]) -> Names:
    """Give keys and labels of names, and last what was never recorded."""
    return (*((name, name) for name in names), (None, "not recorded"))


# -- of a book -----------------------------------------------------------------------------------


def bikes_by_riding(tables: FaultTables) -> Units | None:
    """Give bikes from the closing of their first job until their last event, by riding.

    What happens to them are the faults found on them since.
    """
    codes = tables.codes
    riding = np.where(codes.riding.code == NONE, len(codes.riding.names), codes.riding.code)
    watch = _Watch(*_watched(tables), riding, np.arange(len(riding)))
    return _units(watch, _since_first(tables), codes.found, _named(codes.riding.names))


def bikes_by_system(tables: FaultTables) -> Iterator[Group]:
    """Give the same bikes once for each system, with the faults of that system."""
    codes = tables.codes
    start, end = _watched(tables)
    unit = _since_first(tables)
    kept = np.flatnonzero(_events(unit, codes.found, start, end))
    rows = np.flatnonzero(end > start)
    place = np.cumsum(end > start) - 1
    of, system = unit[kept], codes.system_of_episode.code[kept]
    time, length = np.floor(days(codes.found[kept] - start[of])), np.floor(days(end - start)[rows])
    nothing = np.zeros(len(rows))
    for code, name in enumerate(codes.system_of_episode.names):
        is_it = system == code
        found = (place[of[is_it]], time[is_it])
        yield Group(name, name, Histories(*found, nothing, length, nothing.astype(np.bool_)), rows)


def _watched(tables: FaultTables) -> tuple[Integers, Integers]:
    """Give when bikes were watched; those without a closed job never were."""
    start, end = tables.codes.watched_from, tables.codes.watched_to
    return start, np.where(start == NULL_TIME, start, end)


def _since_first(tables: FaultTables) -> Integers:
    """Give the bikes of episodes; what was found by the end of its first job is none's."""
    bike = tables.codes.bike_of_episode
    return np.where(tables.codes.found > tables.codes.watched_from[bike], bike, NONE)


def parts_by_model(tables: FaultTables) -> Units | None:
    """Give parts from fitted until removed or their bike's last event, by model.

    What happens to them are the faults found at their positions meanwhile.
    """
    codes, models = tables.codes, tables.codes.models
    watch = _Watch(codes.fitted, codes.ended, models.code, codes.bike_of_part)
    names = tuple(zip(models.models, models.labels, strict=True))
    return _units(watch, codes.part_of_episode, codes.found, names, models.sort)


def jobs_by_tier(tables: FaultTables) -> Units | None:
    """Give jobs from their closing until the bike's last event, by tier.

    What happens to them are the come-backs of their repairs; what was found again before the job
    was closed came back at age 0.
    """
    codes = tables.codes
    end = np.where(codes.closed == NULL_TIME, codes.closed, codes.watched_to[codes.bike_of_job])
    tier = np.where(codes.tier.code == NONE, len(codes.tier.names), codes.tier.code)
    watch = _Watch(codes.closed, end, tier, codes.bike_of_job)
    again = micros(tables.repairs["again_at"])
    is_counted = flags(tables.repairs["is_come_back"]) & (again != NULL_TIME)
    unit = np.where(is_counted, codes.job_of_repair, NONE)
    at = np.where(unit == NONE, again, np.maximum(again, codes.closed[unit]))
    return _units(watch, unit, at, _named(codes.tier.names))
