"""Whether faults are found more and more often: on one bike, or a group of bikes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from ledger.analysis import trends as analysis
from ledger.analysis.distances import Readings, km_at, place
from ledger.analysis.histories import Histories
from ledger.analysis.life_bounds import TooFewLives
from ledger.figures.fault_arrays import (
    NONE,
    NULL_TIME,
    Flags,
    Floats,
    Integers,
    coded,
    codes_in,
    days,
    floats,
    last_before,
    micros,
    rows_of_jobs,
)
from ledger.figures.fault_estimates import LEVEL, Clock, Judgement, PowerFit, Span, Trend, TrendTest
from ledger.figures.fault_tables import FaultTables

__all__ = ["trend_of_bikes", "trends"]

_SAME_DAY_US = 86_400_000_000
_SAME_VISIT_DAYS = 30.0
"""How long after the last distance reading a bike is taken not to have been ridden."""
_YEAR_DAYS = 365.25


@dataclass(frozen=True, slots=True, eq=False)
class _Looks:
    """Looks that found something new after the bike's first job was closed."""

    bike: Integers
    since_us: Integers
    """When the bike was last looked at before: its last job's closing."""
    at_us: Integers
    start_us: Integers
    """Of each bike: when watching began and ended; NULL_TIME where it never began."""
    end_us: Integers


def trends(tables: FaultTables) -> tuple[Trend, ...]:
    """Give the trend of all bikes together, then of each kind of riding: by days, then by km.

    Groups of which no bike was watched for any time, or no distance is known, are left out. How
    a bike is watched stands at `trend_of_bikes`.
    """
    riding = coded(tables.bikes["riding"])
    chosen: list[tuple[str | None, Flags]] = [(None, np.ones(len(riding.code), dtype=np.bool_))]
    chosen += [(name, riding.code == code) for code, name in enumerate(riding.names)]
    looks = _looks(tables.episodes, tables.bikes, tables.job_facts)
    found = []
    for watched in _watched(looks, tables.bikes, tables.read("distance_readings")):
        found += [_trend(key, watched, is_in) for key, is_in in chosen]
    return tuple(one for one in found if one.length > 0)


def trend_of_bikes(
    episodes: pa.Table,
    bikes: pa.Table,
    job_facts: pa.Table,
    distances: pa.Table | None = None,
    key: str | None = None,
) -> tuple[Trend, ...]:
    """Give the trend of some bikes as one group, or of one bike: by days, and by km if known.

    Columns used: of `episodes` bike, found_at, found_job; of `bikes` (one row a bike, as
    `FaultTables.bikes`) bike, first_closed_at; of `job_facts` bike, job, closed_at; of
    `distances` (the relation `distance_readings`) bike, seq, occurred_at, distance_total_km.
    Other bikes' rows are not looked at.

    A bike's time starts when its first job was closed and ends at its last look: the closing of
    its last job, or what was found since. What a look finds arose at any time since the job
    before was closed, so it counts at its mean place in that gap: in the middle (Laplace), or at
    the mean of the logarithm (MIL-HDBK-189 and power law). Taken as at the look itself, faults
    would pass for late ones. Faults found in one job are one look: several at once are no crowd.
    """
    looks = _looks(episodes, bikes, job_facts)
    every = np.ones(len(bikes), dtype=np.bool_)
    return tuple(_trend(key, watched, every) for watched in _watched(looks, bikes, distances))


# -- looks ---------------------------------------------------------------------------------------


def _looks(episodes: pa.Table, bikes: pa.Table, job_facts: pa.Table) -> _Looks:
    start = micros(bikes["first_closed_at"])
    bike, at = codes_in(episodes["bike"], bikes["bike"]), micros(episodes["found_at"])
    job = rows_of_jobs(job_facts, episodes["bike"], episodes["found_job"])
    is_asked = (bike != NONE) & (start[bike] != NULL_TIME) & (at > start[bike])
    kept = np.flatnonzero(is_asked)
    kept = kept[np.lexsort((at[kept], job[kept], bike[kept]))]
    bike, at, job = bike[kept], at[kept], job[kept]
    is_first = np.ones(len(kept), dtype=np.bool_)
    is_first[1:] = (bike[1:] != bike[:-1]) | (job[1:] != job[:-1]) | _is_other_day(job, at)
    bike, at = bike[is_first], at[is_first]
    of_job, closed = codes_in(job_facts["bike"], bikes["bike"]), micros(job_facts["closed_at"])
    of_job = np.where(closed == NULL_TIME, NONE, of_job)
    before = last_before(of_job, closed, bike, at)
    end = start.copy()
    np.maximum.at(end, of_job[of_job != NONE], closed[of_job != NONE])
    np.maximum.at(end, bike, at)
    return _Looks(bike, closed[before] if len(closed) else at, at, start, end)


def _is_other_day(job: Integers, at: Integers) -> Flags:
    """Tell which finds of no job are a look of their own: a day or more after the one before."""
    return np.asarray((job[1:] == NONE) & (at[1:] - at[:-1] >= _SAME_DAY_US))


# -- watched by days and by km -------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Watched:
    """Bikes' time on one clock, and the gaps in which something arose."""

    clock: Clock
    bike: Integers
    since: Floats
    """Ages at the look before and at the look that found it."""
    at: Floats
    end: Floats
    """Of each bike; 0 where it was not watched."""

    def histories(self, is_in: Flags, age: Floats) -> Histories:
        """Put some of the bikes' finds at an age each."""
        is_seen = is_in & (self.end > 0)
        row, is_event = np.cumsum(is_seen) - 1, is_seen[self.bike]
        end = self.end[is_seen]
        nothing = np.zeros(len(end))
        return Histories(
            row[self.bike[is_event]], age[is_event], nothing, end, nothing.astype(np.bool_)
        )

    @property
    def middle(self) -> Floats:
        """The mean place in each gap."""
        return np.asarray((self.since + self.at) / 2)

    @property
    def log_middle(self) -> Floats:
        """The place in each gap whose logarithm is the mean of that: the identric mean."""
        early = np.where(self.since > 0, self.since, 1.0)
        width = self.at - self.since
        is_wide = width > 1e-6 * self.at
        rise = self.at * np.log(self.at) - self.since * np.log(early)
        return np.where(is_wide, np.exp(rise / np.where(is_wide, width, 1.0) - 1), self.at)


def _watched(looks: _Looks, bikes: pa.Table, distances: pa.Table | None) -> list[_Watched]:
    start = looks.start_us[looks.bike]
    length = np.where(looks.start_us == NULL_TIME, 0.0, days(looks.end_us - looks.start_us))
    gaps = (days(looks.since_us - start), days(looks.at_us - start))
    found = [_Watched("days", looks.bike, *gaps, length)]
    if distances is not None and len(distances):
        found.append(_by_distance(looks, bikes, distances))
    return found


def _by_distance(looks: _Looks, bikes: pa.Table, distances: pa.Table) -> _Watched:
    """Put looks on their bikes' km since the start, those of no known distance left out."""
    bike, at = codes_in(distances["bike"], bikes["bike"]), micros(distances["occurred_at"])
    order = np.lexsort((floats(distances["seq"]), at, bike))
    order = order[bike[order] != NONE]
    read = (bike[order], at[order], floats(distances["distance_total_km"])[order])
    every = np.where(looks.start_us == NULL_TIME, NONE, np.arange(len(looks.start_us)))
    start, end = (_km_at(every, when, *read) for when in (looks.start_us, looks.end_us))
    gaps = [_km_at(looks.bike, when, *read) for when in (looks.since_us, looks.at_us)]
    since, until = (km - start[looks.bike] for km in gaps)
    length = np.nan_to_num(np.maximum(end - start, 0.0))
    is_known = (until > 0) & (since >= 0) & (until <= length[looks.bike])
    return _Watched("km", looks.bike[is_known], since[is_known], until[is_known], length)


def _km_at(of: Integers, when: Integers, bike: Integers, at: Integers, km: Floats) -> Floats:
    """Give bikes' km at instants from readings in order of bike and time.

    NaN before the first, and long after the last; soon after it, the bike is in the shop still.
    """
    before = last_before(bike, at, of, when, or_at=True)
    first = np.searchsorted(bike, of)
    after = np.where(before == NONE, first, before + 1)
    is_there = (after < len(bike)) & (of != NONE)
    after = np.where(is_there & (bike[np.minimum(after, len(bike) - 1)] == of), after, NONE)
    nothing = np.zeros(len(km))
    readings = Readings(days(at), km, nothing, nothing)
    found = place(days(when), before, after, readings)
    known = km_at(found, readings, np.zeros(len(of)))
    is_near = (found.offset_days >= 0) & (found.offset_days <= _SAME_VISIT_DAYS)
    return np.where(is_near, known, np.nan)


# -- what is said --------------------------------------------------------------------------------


def _trend(key: str | None, watched: _Watched, is_in: Flags) -> Trend:
    of = watched.histories(is_in, watched.middle)
    count_with = int(np.count_nonzero(of.count_of_unit))
    is_group = count_with >= analysis.LEAST_UNITS_FOR_ROBUST
    laplace = analysis.laplace_of(of, LEVEL, is_robust=is_group)
    by_log = watched.histories(is_in, watched.log_middle)
    military = analysis.military_handbook_of(by_log, LEVEL)
    power = analysis.chance_to_see_doubling(of, LEVEL)
    judgement = _judgement(laplace, military, is_group)
    return Trend(
        key=key,
        clock=watched.clock,
        count_units=len(of.end),
        count_events=len(of.time),
        length=float(of.end.sum()),
        tests=(
            TrendTest("Laplace", laplace.statistic, laplace.chance),
            TrendTest("MIL-HDBK-189", military.statistic, military.chance),
        ),
        power_law=_fit(by_log, watched.clock),
        chance_to_see_doubling=power,
        judgement=judgement,
        words=_words(judgement, laplace, military, power),
    )


def _fit(of: Histories, clock: Clock) -> PowerFit | None:
    try:
        law = analysis.power_law_of(of, LEVEL)
    except TooFewLives:
        return None
    if law.shape_unbiased is None:
        return None
    per = _YEAR_DAYS if clock == "days" else 1000.0
    is_one = law.count_units == 1 and law.mtbf_unbiased is not None
    rate = per / law.mtbf_unbiased if is_one and law.mtbf_unbiased else None
    return PowerFit(Span(law.shape_unbiased, law.shape_low, law.shape_high), rate)


def _judgement(
    laplace: analysis.TrendTest, military: analysis.TrendTest, is_group: bool
) -> Judgement:
    """Judge by Laplace's test alone for one bike, so that it errs at the level and no more.

    For a group both tests must agree: with many bikes even what visits do to the order of finds
    would pass for a trend.
    """
    if laplace.judgement == "too few events to judge":
        return "too few to judge"
    if is_group and laplace.judgement != military.judgement:
        return "no trend shown"
    return laplace.judgement


def _words(
    judgement: Judgement,
    laplace: analysis.TrendTest,
    military: analysis.TrendTest,
    power: float,
) -> str:
    if judgement == "too few to judge":
        return laplace.words.replace("too few events to judge", judgement)
    words = laplace.words
    if judgement != laplace.judgement:
        words = f"{judgement}: by Laplace's test alone {words}"
    elif judgement == "no trend shown":
        words += f"; a rate that doubled half-way would be noticed in {100 * power:.0f} % of cases"
    if military.judgement not in (laplace.judgement, "too few events to judge"):
        words += f"; the {military.name} test: {military.judgement}"
    return words
