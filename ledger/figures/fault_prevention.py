"""Whether unbilled preventive work at a position goes with less trouble there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ledger.analysis.hazard_ratio import HazardRatio, hazard_ratio
from ledger.analysis.life_bounds import TooFewLives
from ledger.analysis.life_curves import Curve
from ledger.analysis.log_rank import LogRank, events_needed, log_rank
from ledger.analysis.prevention import Arm, Difference
from ledger.analysis.prevention import prevention as compared
from ledger.analysis.prevention_minutes import MinutesApart
from ledger.analysis.prevention_words import Verdict, verdict_of, words_of
from ledger.figures.fault_arrays import Floats
from ledger.figures.fault_estimates import (
    LEVEL,
    CurvePoint,
    Prevention,
    PreventionArm,
    PreventionRow,
    Span,
)
from ledger.figures.fault_landmarks import Bench, Landmarks
from ledger.figures.fault_tables import FaultTables

__all__ = ["HORIZON_DAYS", "prevention"]

HORIZON_DAYS = 240
"""By when risks are held against each other: eight months, which grease, oil and seals are
commonly taken to last, and short of the year after which most bikes would be serviced anyhow."""
_RATIO = 0.5
"""What is to be seen: trouble halved."""
_NARROWER = float(ndtri(0.9) / ndtri((1 + LEVEL) / 2))
"""How wide an interval of 80 % is beside one of LEVEL, by the normal law."""
_COUNT_POINTS = 80
_LEAST_AT_RISK = 10


def prevention(tables: FaultTables, horizon_days: int = HORIZON_DAYS) -> Prevention:
    """Give, for every position with such work, bikes with it and without it side by side.

    A bike counts once a position: from the closing of its first job after which nothing was open
    there (the landmark) until its last event; one never seen again does not count. It had the
    work if an unbilled preventive treatment was done there in that job: one with no paid line at
    the position. Work after the landmark changes no bike's side. Trouble is any fault found at
    the position afterwards. Bikes are compared within the tier of that job and their kind of
    riding; sorts of bike (kind, and with gears or without) of which none ever had work or trouble
    there are left out. Nobody drew lots: what shows is association.
    """
    bench = Bench(tables)
    rows, count = [], len(tables.preventive_work)
    for place, position in enumerate(bench.positions):
        bikes = bench.landmarks(place)
        rows.append(_row(position, bench.treatments_at(place), bikes, horizon_days))
        count -= bench.count_on(place, bikes)
    rows.sort(key=lambda row: (-row.with_it.count_bikes, row.position))
    return Prevention(tuple(rows), count, _words(rows))


def _row(
    position: str, treatments: tuple[str, ...], bikes: Landmarks, horizon_days: int
) -> PreventionRow:
    """Give one position's row, in whole days."""
    found, last = np.ceil(bikes.found), np.ceil(bikes.last)
    followed = [_followed(bikes, side, horizon_days) for side in (True, False)]
    try:
        of = compared(
            bikes.is_treated, np.floor(bikes.fine_until), found, last,
            horizon=float(horizon_days), stratum=bikes.stratum, minutes=bikes.minutes, level=LEVEL,
        )  # fmt: skip
    except TooFewLives as error:
        return _alone(position, treatments, horizon_days, followed, error.wrong)
    minutes, apart = of.minutes, of.difference
    judged = _judged(bikes, found, last, horizon_days, followed)
    return PreventionRow(
        position=position,
        treatments=treatments,
        horizon_days=horizon_days,
        with_it=_arm(of.treated, followed[0], horizon_days, minutes.treated),
        without_it=_arm(of.untreated, followed[1], horizon_days, minutes.untreated),
        difference=_apart(apart, 1.0),
        difference_80=_apart(apart, _NARROWER),
        difference_between_looks=apart.between_looks if apart else None,
        p=judged.test.p_exact,
        hazard_ratio=_ratio(judged.ratio),
        minutes_difference=_minutes_apart(minutes),
        count_compared=apart.count_bikes if apart else 0,
        needed_each=judged.needed_each,
        verdict=judged.verdict,
        words=judged.words,
    )


@dataclass(frozen=True, slots=True)
class _Judged:
    """What the bikes tell by the horizon."""

    test: LogRank
    ratio: HazardRatio | None
    needed_each: int | None
    verdict: Verdict
    words: str


def _judged(
    bikes: Landmarks, found: Floats, last: Floats, horizon_days: int, followed: list[_Followed]
) -> _Judged:
    """Test trouble found by the horizon: what the work does is over one day, and what comes later
    would drown it."""
    until = np.minimum(np.minimum(found, last), horizon_days)
    is_found = found <= horizon_days
    columns = (until, is_found, bikes.is_treated)
    test = log_rank(*columns, stratum=bikes.stratum)
    ratio = hazard_ratio(*columns, stratum=bikes.stratum, level=LEVEL)
    count = int(np.count_nonzero(is_found))
    equal = events_needed(_RATIO) / 2
    each = int(np.ceil(equal * len(found) / count)) if count else None
    needed = events_needed(_RATIO, share=float(np.mean(bikes.is_treated)))
    verdict = verdict_of(test, count, needed, LEVEL)
    with_it, without = ((side.count, side.by_horizon) for side in followed)
    said = words_of(verdict, with_it, without, each)
    is_few = verdict == "too few to judge"
    return _Judged(
        test, ratio, each, verdict, said if is_few else f"within {horizon_days} days {said}"
    )


@dataclass(frozen=True, slots=True)
class _Followed:
    """Bikes of one side."""

    count: int
    trouble: int
    by_horizon: int
    """With trouble found by then."""
    to_horizon: int
    """Followed so far, or with trouble before."""
    next: int
    """With a next job there."""


def _followed(bikes: Landmarks, is_treated: bool, horizon_days: int) -> _Followed:
    side = bikes.is_treated == is_treated
    is_by_horizon = np.ceil(bikes.found) <= horizon_days
    counts = (
        side & np.isfinite(bikes.found),
        side & is_by_horizon,
        side & (is_by_horizon | (np.ceil(bikes.last) >= horizon_days)),
        side & ~np.isnan(bikes.minutes),
    )
    return _Followed(int(side.sum()), *(int(np.count_nonzero(one)) for one in counts))


def _arm(arm: Arm, seen: _Followed, horizon_days: int, minutes: float | None) -> PreventionArm:
    curve = arm.curve
    at = int(np.searchsorted(curve.times, horizon_days, side="right")) - 1
    high = 1 - float(curve.lower[at])
    if not arm.risk:
        # No trouble at all is no certainty: the exact binomial limit of those followed so far.
        high = 1 - ((1 - LEVEL) / 2) ** (1 / max(seen.to_horizon, 1))
    risk = Span(arm.risk, 1 - float(curve.upper[at]), high)
    return PreventionArm(
        count_bikes=seen.count,
        count_trouble=seen.trouble,
        count_by_horizon=seen.by_horizon,
        count_followed=seen.to_horizon,
        risk=risk,
        risk_between_looks=arm.risk_between_looks,
        curve=_points(curve),
        next_minutes=minutes,
        count_next=seen.next,
    )


def _points(curve: Curve) -> tuple[CurvePoint, ...]:
    """Give the share with trouble while enough are followed, thinned where it has many steps."""
    last = max(int(np.count_nonzero(curve.at_risk >= _LEAST_AT_RISK)) - 1, 0)
    chosen = np.unique(np.linspace(0, last, min(last + 1, _COUNT_POINTS)).astype(int))
    columns = (curve.times, 1 - curve.survival, 1 - curve.upper, 1 - curve.lower, curve.at_risk)
    rows = zip(*(column[chosen].tolist() for column in columns), strict=True)
    return tuple(
        CurvePoint(day, risk, low, high, int(count)) for day, risk, low, high, count in rows
    )


def _apart(of: Difference | None, share: float) -> Span | None:
    """Give the difference, each side of its interval so much as wide."""
    if of is None:
        return None
    low, high = ((end - of.difference) * share for end in (of.low, of.high))
    return Span(of.difference, of.difference + low, of.difference + high)


def _ratio(of: HazardRatio | None) -> Span | None:
    return None if of is None else Span(of.value, of.low, of.high)


def _minutes_apart(of: MinutesApart) -> Span | None:
    if of.difference is None or of.low is None or of.high is None:
        return None
    return Span(of.difference, of.low, of.high)


def _alone(
    position: str,
    treatments: tuple[str, ...],
    horizon_days: int,
    followed: list[_Followed],
    wrong: str,
) -> PreventionRow:
    """Give the row of a position where all bikes are on one side, or none had such a job."""
    with_it, without_it = (
        PreventionArm(
            count_bikes=one.count,
            count_trouble=one.trouble,
            count_followed=one.to_horizon,
            risk=None,
            risk_between_looks=None,
            curve=(),
            next_minutes=None,
            count_next=one.next,
            count_by_horizon=one.by_horizon,
        )
        for one in followed
    )
    return PreventionRow(
        position=position,
        treatments=treatments,
        horizon_days=horizon_days,
        with_it=with_it,
        without_it=without_it,
        difference=None,
        difference_80=None,
        difference_between_looks=None,
        p=None,
        hazard_ratio=None,
        minutes_difference=None,
        count_compared=0,
        needed_each=None,
        verdict="too few to judge",
        words=f"too few to judge: {wrong}",
    )


def _words(rows: list[PreventionRow]) -> str:
    if not rows:
        return "no unbilled preventive work on record"
    judged = [row for row in rows if row.is_enough]
    if not judged:
        return "too few to judge at any position"
    fewer = sum(row.verdict == "less often" for row in judged)
    where = "position" if len(judged) == 1 else "positions"
    seen = f"of {len(judged)} {where} with enough to judge, {fewer} had less trouble with the work"
    return f"{seen}; this does not say the work was why"
