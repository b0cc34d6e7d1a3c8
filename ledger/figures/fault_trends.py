"""Whether faults are found more and more often: on one bike, or a group of bikes."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa

from ledger.analysis import trends as analysis
from ledger.analysis.histories import Histories
from ledger.analysis.life_bounds import TooFewLives
from ledger.figures.fault_arrays import (
    NONE,
    NULL_TIME,
    Flags,
    Floats,
    Integers,
    codes_in,
    days,
    micros,
    rows_of_jobs,
)
from ledger.figures.fault_estimates import LEVEL, Clock, Judgement, PowerFit, Span, Trend, TrendTest
from ledger.figures.fault_looks import Finds, Looks, kms_at, looks_of
from ledger.figures.fault_tables import FaultTables

__all__ = ["LEAST_SHAPE", "trend_of_bikes", "trends"]

LEAST_SHAPE = 1.1
"""A group whose power law is nearer to a constant rate has no trend to speak of: by the end of
watching its rate would have changed by a fourteenth since half-way."""

_YEAR_DAYS = 365.25


def trends(tables: FaultTables) -> tuple[Trend, ...]:
    """Give the trend of all bikes together, then of each kind of riding: by days, then by km.

    Groups of which no bike was watched for any time, or no distance is known, are left out. How
    a bike is watched stands at `trend_of_bikes`.
    """
    codes = tables.codes
    riding = codes.riding
    chosen: list[tuple[str | None, Flags]] = [(None, np.ones(len(riding.code), dtype=np.bool_))]
    chosen += [(name, riding.code == code) for code, name in enumerate(riding.names)]
    finds = Finds(
        codes.bike_of_episode, codes.found, codes.job_of_episode,
        codes.bike_of_job, codes.closed, codes.watched_from,
    )  # fmt: skip
    found = []
    for watched in _watched(looks_of(finds), codes.bike_names, tables.read("distance_readings")):
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
    names = bikes["bike"].combine_chunks()
    of_job, bike = codes_in(job_facts["bike"], names), codes_in(episodes["bike"], names)
    finds = Finds(
        bike=bike,
        at=micros(episodes["found_at"]),
        job=rows_of_jobs(job_facts["job"], of_job, episodes["found_job"], bike),
        bike_of_job=of_job,
        closed=micros(job_facts["closed_at"]),
        start=micros(bikes["first_closed_at"]),
    )
    every = np.ones(len(bikes), dtype=np.bool_)
    watched = _watched(looks_of(finds), names, distances)
    return tuple(_trend(key, one, every) for one in watched)


# -- watched by days and by km -------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Watched:
    """Bikes' time on one clock, and the gaps in which something arose."""

    clock: Clock
    bike: Integers
    since: Floats
    """Ages at the look before and at the look that found it."""
    at: Floats
    end: Floats
    """Of each bike; 0 where it was not watched."""

    def histories(self, is_in: Flags) -> tuple[Histories, Histories]:
        """Put some of the bikes' finds in the middle of their gaps, and at its logarithm's mean."""
        is_seen = is_in & (self.end > 0)
        row, is_event = np.cumsum(is_seen) - 1, is_seen[self.bike]
        unit, end = row[self.bike[is_event]], self.end[is_seen]
        nothing = np.zeros(len(end))
        more = (nothing, end, nothing.astype(np.bool_))
        ages = (self.middle[is_event], self.log_middle[is_event])
        return Histories(unit, ages[0], *more), Histories(unit, ages[1], *more)

    @cached_property
    def middle(self) -> Floats:
        """The mean place in each gap."""
        return np.asarray((self.since + self.at) / 2)

    @cached_property
    def log_middle(self) -> Floats:
        """The place in each gap whose logarithm is the mean of that: the identric mean."""
        early = np.where(self.since > 0, self.since, 1.0)
        width = self.at - self.since
        is_wide = width > 1e-6 * self.at
        rise = self.at * np.log(self.at) - self.since * np.log(early)
        return np.where(is_wide, np.exp(rise / np.where(is_wide, width, 1.0) - 1), self.at)


def _watched(looks: Looks, bikes: pa.Array, distances: pa.Table | None) -> list[_Watched]:
    start = looks.start[looks.bike]
    length = np.where(looks.start == NULL_TIME, 0.0, days(looks.end - looks.start))
    gaps = (days(looks.since - start), days(looks.at - start))
    found = [_Watched("days", looks.bike, *gaps, length)]
    if distances is not None and len(distances):
        found.append(_by_distance(looks, bikes, distances))
    return found


def _by_distance(looks: Looks, bikes: pa.Array, distances: pa.Table) -> _Watched:
    """Put looks on their bikes' km since the start, those of no known distance left out."""
    every = np.where(looks.start == NULL_TIME, NONE, np.arange(len(looks.start)))
    asked = [(every, looks.start), (every, looks.end)]
    asked += [(looks.bike, looks.since), (looks.bike, looks.at)]
    start, end, since, at = kms_at(distances, bikes, asked)
    length = np.nan_to_num(np.maximum(end - start, 0.0))
    since, at = since - start[looks.bike], at - start[looks.bike]
    is_known = (at > 0) & (since >= 0) & (at <= length[looks.bike])
    return _Watched("km", looks.bike[is_known], since[is_known], at[is_known], length)


# -- what is said --------------------------------------------------------------------------------


def _trend(key: str | None, watched: _Watched, is_in: Flags) -> Trend:
    of, by_log = watched.histories(is_in)
    count_with = int(np.count_nonzero(of.count_of_unit))
    is_group = count_with >= analysis.LEAST_UNITS_FOR_ROBUST
    laplace = analysis.laplace_of(of, LEVEL, is_robust=is_group)
    military = analysis.military_handbook_of(by_log, LEVEL)
    power = analysis.chance_to_see_doubling(of, LEVEL)
    law = _fit(by_log, watched.clock)
    judgement = _of_group(laplace, military, law) if is_group else _of_one(laplace)
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
        power_law=law,
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


def _of_one(laplace: analysis.TrendTest) -> Judgement:
    """Judge by Laplace's test alone, so that it errs at the level and no more."""
    if laplace.judgement == "too few events to judge":
        return "too few to judge"
    return laplace.judgement


def _of_group(
    laplace: analysis.TrendTest, military: analysis.TrendTest, law: PowerFit | None
) -> Judgement:
    """Judge a group: both tests must agree, and the law's shape be no trifle.

    With many bikes even what visits do to the order of finds would pass for a trend.
    """
    is_slight = law is not None and 1 / LEAST_SHAPE < law.shape.value < LEAST_SHAPE
    if laplace.judgement != military.judgement or is_slight:
        return "no trend shown"
    return _of_one(laplace)


def _too_few(count: int) -> str:
    """Say what was counted: looks of a bike whose first job was closed before."""
    looks = f"{count} find" if count == 1 else f"{count} finds"
    least = analysis.least_to_judge(LEVEL)
    return (
        f"too few to judge: {looks} since the first job was closed, what was found in one job "
        f"counted once, and at least {least} are needed"
    )


def _words(
    judgement: Judgement,
    laplace: analysis.TrendTest,
    military: analysis.TrendTest,
    power: float,
) -> str:
    if judgement == "too few to judge":
        return _too_few(laplace.count_events)
    words = laplace.words
    if judgement != laplace.judgement:
        words = f"{judgement} to speak of: by Laplace's test alone {words}"
    elif judgement == "no trend shown":
        words += f"; a rate that doubled half-way would be noticed in {100 * power:.0f} % of cases"
    if military.judgement not in (laplace.judgement, "too few events to judge"):
        words += f"; the {military.name} test: {military.judgement}"
    return words
