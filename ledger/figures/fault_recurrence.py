"""How often faults come: mean cumulative functions by system, part model, tier and riding."""

from __future__ import annotations

import numpy as np

from ledger.analysis.recurrence import MeanCumulative, mean_cumulative_of
from ledger.analysis.recurrence_groups import GroupMeans, group_means
from ledger.figures.fault_estimates import (
    CurvePoint,
    Recurrence,
    RecurrenceBy,
    RecurrenceGroup,
    Span,
)
from ledger.figures.fault_tables import FaultTables
from ledger.figures.fault_units import (
    Group,
    Units,
    bikes_by_riding,
    bikes_by_system,
    jobs_by_tier,
    parts_by_model,
)

__all__ = ["AT_DAYS", "LEAST_EVENTS", "LEAST_UNITS", "recurrence"]

AT_DAYS = 365
"""The age at which groups are held against each other: a year."""
LEAST_UNITS = 10
"""With fewer bikes behind a group, the spread between them is too unsure for an interval."""
LEAST_EVENTS = 5
_LEAST_AT_RISK = 10
"""A curve ends where fewer than this are still followed."""
_COUNT_POINTS = 80


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
        return _report(by, "a job", "a come-back", _beside(jobs_by_tier(tables)))
    if by == "model":
        return _report(by, "a part", "a fault found", _beside(parts_by_model(tables)))
    if by == "riding":
        return _report(by, "a bike", "a fault found", _beside(bikes_by_riding(tables)))
    alone = [_group(group, None) for group in bikes_by_system(tables)]
    return _report(by, "a bike", "a fault found", alone)


def _report(by: RecurrenceBy, unit: str, event: str, groups: list[RecurrenceGroup]) -> Recurrence:
    groups.sort(key=lambda one: (not one.is_enough, -(one.mean.value if one.mean else 0.0)))
    return Recurrence(by, unit, event, AT_DAYS, tuple(groups))


def _beside(units: Units | None) -> list[RecurrenceGroup]:
    """Give every group with its difference from the others of its sort."""
    if units is None:
        return []
    apart: list[Span | None] = []
    for start, stop in units.sorts():
        if stop - start < 2:
            apart.append(None)
            continue
        of = np.repeat(np.arange(stop - start), np.diff(units.first[start : stop + 1]))
        bikes = units.bikes(start, stop)
        found = group_means(units.watched(start, stop), of, AT_DAYS, cluster=bikes)
        apart += [_difference(found, place) for place in range(stop - start)]
    return [_group(group, one) for group, one in zip(units.groups(), apart, strict=True)]


def _group(group: Group, apart: Span | None) -> RecurrenceGroup:
    watched, bikes = group.watched, group.bike
    count_bikes = int(np.count_nonzero(np.bincount(bikes))) if len(bikes) else 0
    counts = (len(bikes), count_bikes, len(watched.time))
    if counts[1] < LEAST_UNITS or counts[2] < LEAST_EVENTS:
        words = _too_few(*counts[1:])
        return RecurrenceGroup(group.key, group.label, *counts, (), None, None, words)
    cluster = None if count_bikes == len(bikes) else bikes
    curve = mean_cumulative_of(watched, cluster=cluster)
    is_followed = int(np.count_nonzero(watched.end >= AT_DAYS)) >= _LEAST_AT_RISK
    mean = _mean_at(curve) if is_followed else None
    apart = apart if is_followed else None
    said = (mean, apart, _words(mean, apart))
    return RecurrenceGroup(group.key, group.label, *counts, _points(curve), *said)


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
