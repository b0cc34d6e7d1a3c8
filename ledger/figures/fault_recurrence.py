"""How often faults come: mean cumulative functions by system, part model, tier and riding."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa

from ledger.analysis.histories import Histories
from ledger.analysis.recurrence import MeanCumulative, mean_cumulative_of
from ledger.analysis.recurrence_groups import GroupMeans, group_means
from ledger.figures.fault_arrays import (
    NONE,
    NULL_TIME,
    Flags,
    Integers,
    coded,
    codes_in,
    days,
    flags,
    last_before,
    micros,
    pairs,
    rows_of_jobs,
)
from ledger.figures.fault_estimates import (
    CurvePoint,
    Recurrence,
    RecurrenceBy,
    RecurrenceGroup,
    Span,
)
from ledger.figures.fault_sorts import ModelsOf, models_of
from ledger.figures.fault_tables import FaultTables

__all__ = ["AT_DAYS", "LEAST_EVENTS", "LEAST_UNITS", "recurrence"]

AT_DAYS = 365
"""The age at which groups are held against each other: a year."""
LEAST_UNITS = 10
"""With fewer bikes behind a group, the spread between them is too unsure for an interval."""
LEAST_EVENTS = 5
_LEAST_AT_RISK = 10
"""A curve ends where fewer than this are still followed."""
_COUNT_POINTS = 80


@dataclass(frozen=True, slots=True, eq=False)
class _Units:
    """Units watched from age 0, in whole days, and what happened to them."""

    watched: Histories
    group: Integers
    """Of each unit."""
    bike: Integers
    """Of each unit: what units are alike in, so that they count as one cluster."""
    names: tuple[tuple[str | None, str], ...]
    """Key and label of each group."""
    sort: Integers
    """Of each group: groups of one sort are held against each other."""


def recurrence(tables: FaultTables, by: RecurrenceBy) -> Recurrence:
    """Give how many faults (of tiers: come-backs) a unit of each group has had by each age.

    - "system": a bike from the closing of its first job until its last event, and the faults of
      that system found on it since. All bikes are in every group: no difference is told.
    - "riding": the same bikes by their kind of riding, and all their faults.
    - "model": a part from when it was fitted (found: first seen) until it was removed or the
      bike's last event, and the faults found at its position meanwhile.
    - "tier": a job from its closing until the bike's last event, and the come-backs of its
      repairs.

    Ages are whole days. Intervals are robust (Lawless and Nadeau), by bike: what happens to one
    bike may hang together. Observation ends at visits, so bikes that stay away say nothing.
    """
    if by == "tier":
        return _report(by, "a job", "a come-back", _jobs(tables))
    if by == "model":
        return _report(by, "a part", "a fault found", _parts(tables))
    return _report(by, "a bike", "a fault found", *_bikes(tables, by))


# -- units and their events ----------------------------------------------------------------------


def _watched(
    unit: Integers, at_us: Integers, start_us: Integers, end_us: Integers
) -> tuple[Histories, Integers]:
    """Give units that were watched at all as histories in whole days, and which those are.

    An event is left out where its unit is NONE or was not watched then.
    """
    is_followed = end_us > start_us
    kept = np.flatnonzero(is_followed)
    row = np.where(is_followed, np.cumsum(is_followed) - 1, NONE)
    is_known = unit != NONE
    unit, at_us = unit[is_known], at_us[is_known]
    is_seen = is_followed[unit] & (at_us >= start_us[unit]) & (at_us <= end_us[unit])
    unit, at_us = unit[is_seen], at_us[is_seen]
    time = np.floor(days(at_us - start_us[unit]))
    end = np.floor(days(end_us - start_us)[kept])
    nothing = np.zeros(len(kept))
    return Histories(row[unit], time, nothing, end, nothing.astype(bool)), kept


def _bikes(tables: FaultTables, by: RecurrenceBy) -> tuple[_Units, ...]:
    """Give the bikes by riding as one, or once for each system."""
    bikes, episodes = tables.bikes, tables.episodes
    start, end = micros(bikes["first_closed_at"]), micros(bikes["observed_until"])
    end = np.where(start == NULL_TIME, start, end)
    unit = codes_in(episodes["bike"], bikes["bike"])
    found = micros(episodes["found_at"])
    # What is found in the job that watching begins with is no event: watching began at its end.
    unit = np.where(found > start[unit], unit, NONE)
    if by == "riding":
        riding = coded(bikes["riding"])
        watched, kept = _watched(unit, found, start, end)
        return (_grouped(watched, riding.code[kept], kept, riding.names),)
    system = coded(episodes["system"])
    every = []
    for code, name in enumerate(system.names):
        watched, kept = _watched(np.where(system.code == code, unit, NONE), found, start, end)
        every.append(_grouped(watched, np.zeros(len(kept), dtype=np.int64), kept, (name,)))
    return tuple(every)


def _jobs(tables: FaultTables) -> _Units:
    facts, repairs, bikes = tables.job_facts, tables.repairs, tables.bikes
    tier, bike = coded(facts["tier"]), codes_in(facts["bike"], bikes["bike"])
    closed = micros(facts["closed_at"])
    end = np.where(closed == NULL_TIME, closed, micros(bikes["observed_until"])[bike])
    again = micros(repairs["again_at"])
    is_counted = flags(repairs["is_come_back"]) & (again != NULL_TIME)
    unit = rows_of_jobs(facts, repairs["bike"], repairs["job"])
    # Found again before the earlier job was closed: at age 0.
    at = np.where(unit != NONE, np.maximum(again, closed[unit]), again)
    watched, kept = _watched(np.where(is_counted, unit, NONE), at, closed, end)
    return _grouped(watched, tier.code[kept], bike[kept], tier.names)


def _parts(tables: FaultTables) -> _Units:
    spells = tables.spells
    models = models_of(spells)
    start, end = micros(spells["started_at"]), micros(spells["ended_at"])
    found, unit = faults_of_parts(tables, spells, start, end)
    watched, kept = _watched(np.where(models.code[unit] == NONE, NONE, unit), found, start, end)
    is_named = models.code[kept] != NONE
    bike = codes_in(spells["bike"], tables.bikes["bike"])
    return _of_named(watched, kept, is_named, models, bike)


def faults_of_parts(
    tables: FaultTables, spells: pa.Table, start: Integers, end: Integers
) -> tuple[Integers, Integers]:
    """Give when each episode was found, and the row of the part that sat there then, or NONE."""
    episodes = tables.episodes
    both = [
        coded(pa.chunked_array([*spells[name].chunks, *episodes[name].chunks])).code
        for name in ("bike", "position")
    ]
    place = pairs(*both)
    found = micros(episodes["found_at"])
    here, asked = place[: len(spells)], place[len(spells) :]
    row = last_before(here, start, asked, found)
    return found, np.where((row != NONE) & (found <= end[row]), row, NONE)


def _of_named(
    watched: Histories, kept: Integers, is_named: Flags, models: ModelsOf, bike: Integers
) -> _Units:
    """Leave out the parts of which no model is known; none of the events is theirs."""
    row = np.cumsum(is_named) - 1
    end = watched.end[is_named]
    nothing = np.zeros(len(end))
    of = Histories(row[watched.unit], watched.time, nothing, end, nothing.astype(bool))
    kept = kept[is_named]
    grouped = _grouped(of, models.code[kept], bike[kept], tuple(models.labels))
    used = np.unique(models.code[kept])
    names = tuple((models.models[code], models.labels[code]) for code in used.tolist())
    return replace(grouped, names=names, sort=models.sort[used])


def _grouped(watched: Histories, group: Integers, bike: Integers, names: tuple[str, ...]) -> _Units:
    """Number the groups that there are; what was never recorded is a group of its own."""
    used, place = np.unique(group, return_inverse=True)
    named = tuple(
        (None, "not recorded") if code == NONE else (names[code], names[code])
        for code in used.tolist()
    )
    return _Units(watched, place, bike, named, np.zeros(len(used), dtype=np.int64))


# -- what is said of them ------------------------------------------------------------------------


def _report(by: RecurrenceBy, unit: str, event: str, *every: _Units) -> Recurrence:
    groups = [group for units in every for group in _groups(units, by == "system")]
    groups.sort(key=lambda one: (not one.is_enough, -(one.mean.value if one.mean else 0.0)))
    return Recurrence(by, unit, event, AT_DAYS, tuple(groups))


def _groups(units: _Units, is_alone: bool) -> list[RecurrenceGroup]:
    found = []
    for sort in np.unique(units.sort).tolist():
        codes = np.flatnonzero(units.sort == sort)
        beside = None if is_alone or len(codes) < 2 else _beside(units, codes)
        for place, code in enumerate(codes.tolist()):
            found.append(_group(units, code, beside, place))
    return found


def _beside(units: _Units, codes: Integers) -> GroupMeans:
    watched, kept = _only(units, np.isin(units.group, codes))
    group = np.searchsorted(codes, units.group[kept])
    return group_means(watched, group, AT_DAYS, cluster=units.bike[kept])


def _only(units: _Units, is_in: Flags) -> tuple[Histories, Integers]:
    """Give the histories of some of the units, and which those are."""
    kept = np.flatnonzero(is_in)
    if len(kept) == len(is_in):
        return units.watched, kept
    row, of = np.cumsum(is_in) - 1, units.watched
    is_event = is_in[of.unit]
    unit, time = row[of.unit[is_event]], of.time[is_event]
    return Histories(unit, time, of.start[kept], of.end[kept], of.is_ended_by_event[kept]), kept


def _group(units: _Units, code: int, beside: GroupMeans | None, place: int) -> RecurrenceGroup:
    watched, kept = _only(units, units.group == code)
    key, label = units.names[code]
    bikes = units.bike[kept]
    count_bikes = int(np.count_nonzero(np.bincount(bikes))) if len(bikes) else 0
    counts = (len(kept), count_bikes, len(watched.time))
    if counts[1] < LEAST_UNITS or counts[2] < LEAST_EVENTS:
        return RecurrenceGroup(key, label, *counts, (), None, None, _too_few(*counts[1:]))
    curve = mean_cumulative_of(watched, cluster=bikes)
    points = _points(curve)
    is_followed = int(np.count_nonzero(watched.end >= AT_DAYS)) >= _LEAST_AT_RISK
    mean = _mean_at(curve) if is_followed else None
    apart = _difference(beside, place) if is_followed and beside is not None else None
    return RecurrenceGroup(key, label, *counts, points, mean, apart, _words(mean, apart))


def _points(curve: MeanCumulative) -> tuple[CurvePoint, ...]:
    """Give the curve while enough are followed, thinned evenly where it has many steps."""
    last = int(np.count_nonzero(curve.at_risk >= _LEAST_AT_RISK)) - 1
    if last < 0:
        return ()
    chosen = np.unique(np.linspace(0, last, min(last + 1, _COUNT_POINTS)).astype(int))
    columns = (curve.time, curve.mcf, np.maximum(curve.low, 0), curve.high, curve.at_risk)
    rows = zip(*(column[chosen].tolist() for column in columns), strict=True)
    return tuple(
        CurvePoint(day, mean, low, high, int(count)) for day, mean, low, high, count in rows
    )


def _mean_at(curve: MeanCumulative) -> Span | None:
    at = curve.at(float(AT_DAYS))
    return _span(float(at.mcf[0]), max(float(at.low[0]), 0.0), float(at.high[0]))


def _difference(beside: GroupMeans, place: int) -> Span | None:
    return _span(*(float(x[place]) for x in (beside.difference, beside.low, beside.high)))


def _span(value: float, low: float, high: float) -> Span | None:
    """Give a figure with its interval; None where any of it cannot be told."""
    return Span(value, low, high) if np.isfinite([value, low, high]).all() else None


def _too_few(count_bikes: int, count_events: int) -> str:
    seen = f"{_counted(count_events, 'event')} on {_counted(count_bikes, 'bike')}"
    return f"too few to judge: {seen}, and {LEAST_EVENTS} on {LEAST_UNITS} are needed"


def _counted(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _words(mean: Span | None, apart: Span | None) -> str:
    if mean is None:
        return f"too few to judge: too few were followed for {AT_DAYS} days"
    if apart is None:
        return "no rest to hold it against"
    if apart.low > 0:
        return "more than the rest"
    return "fewer than the rest" if apart.high < 0 else "no difference from the rest shown"
