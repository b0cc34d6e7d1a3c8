"""Whether bikes that had a preventive treatment at a position showed trouble there less often.

One bike is one row, watched from a landmark (the closing of the job). Nobody drew lots for the
treatment, so whatever shows is association: it does not say the treatment was why.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ledger.analysis.life_bounds import (
    BadLives,
    Column,
    FloatArray,
    refuse_draws,
    refuse_no_figure,
    share_between,
)
from ledger.analysis.life_curves import Curve
from ledger.analysis.log_rank import LogRank, events_needed, log_rank_of
from ledger.analysis.prevention_bikes import Bikes, bikes_of, minutes_of
from ledger.analysis.prevention_minutes import MinutesApart, minutes_apart
from ledger.analysis.prevention_risks import (
    alike,
    between_looks,
    curve_of,
    standardised,
    strata_weights,
)
from ledger.analysis.prevention_words import Verdict, verdict_of, words_of

__all__ = ["Arm", "Difference", "Prevention", "prevention"]


@dataclass(frozen=True, slots=True, eq=False)
class Arm:
    """The bikes that had the treatment, or those that had it not."""

    count_bikes: int
    count_found: int
    """How many showed trouble, whenever it was found."""
    curve: Curve
    """Share without trouble found yet (Kaplan–Meier), with its band."""
    risk: float
    """Share with trouble found by the horizon; of those there, strata aside."""
    risk_between_looks: float
    """The same where trouble is put between the last look without it and the one that found it."""


@dataclass(frozen=True, slots=True)
class Difference:
    """Risk of those treated less that of those not, both with the strata of all bikes."""

    difference: float
    """Of the risks that trouble was found, by Kaplan and Meier."""
    low: float
    high: float
    between_looks: float
    """The same where trouble is put between the last look without it and the one that found it."""
    count_bikes: int
    """Bikes in the strata that could be compared: both arms there and followed to the horizon."""


@dataclass(frozen=True, slots=True, eq=False)
class Prevention:
    """Bikes with and without the treatment, side by side."""

    treated: Arm
    untreated: Arm
    horizon: float
    level: float
    difference: Difference | None
    """Of the risks by the horizon; None where no stratum has both arms followed that far."""
    log_rank: LogRank
    minutes: MinutesApart
    """Of the next job there."""
    ratio: float
    """The ratio of hazards that `needed_a_side` is about."""
    events_needed: float
    """How many bikes with trouble it takes to see that ratio, with arms as large as they are."""
    needed_a_side: int | None
    """How many bikes a side that takes, at the share with trouble seen; None where none was."""
    verdict: Verdict
    words: str


def prevention(
    is_treated: Column,
    fine_until: Column,
    found_at: Column,
    last_contact: Column,
    *,
    horizon: float,
    stratum: Column | None = None,
    minutes: Column | None = None,
    level: float = 0.95,
    ratio: float = 0.5,
    power: float = 0.8,
    resamples: int = 200,
    seed: int = 0,
) -> Prevention:
    """Give bikes with and without a treatment side by side, one row a bike, since its landmark.

    All times are days (or any one unit) since the landmark: the last look without trouble
    (`fine_until`, 0 where there was none), the look that found it (`found_at`; None or infinite
    where none did), the last contact of any kind. `stratum` is what bikes must have alike to be
    compared (tier and riding, say). `minutes` are those of the next job there, None where there
    was none. Raises `BadLives` naming rows that cannot be, `TooFewLives` where an arm is empty.
    Intervals are percentiles of `resamples` samples, 20 at the least, drawn from `seed`.
    """
    bikes = bikes_of(is_treated, fine_until, found_at, last_contact, stratum)
    taken = minutes_of(minutes, len(bikes.time))
    _check(horizon, level, power, resamples, seed)
    test = log_rank_of(bikes.time, bikes.is_found, bikes.is_treated, bikes.strata)
    weight = strata_weights(bikes, horizon)
    looks = _looks(bikes, weight, horizon)
    arms = [_arm(bikes, horizon, level, is_in, looks[int(is_in)]) for is_in in (True, False)]
    ends = None
    if weight.any():
        ends = standardised(bikes, weight, horizon, level=level, resamples=resamples, seed=seed)
    needed, a_side = _needed(bikes, ratio, level, power)
    had, lacked = ((arm.count_bikes, arm.count_found) for arm in arms)
    verdict = verdict_of(test, had[1] + lacked[1], needed, level)
    return Prevention(
        treated=arms[0],
        untreated=arms[1],
        horizon=horizon,
        level=level,
        difference=ends and Difference(*ends, looks[3] - looks[2], int(weight.sum())),
        log_rank=test,
        minutes=minutes_apart(taken, bikes.is_treated, level, resamples, seed),
        ratio=ratio,
        events_needed=needed,
        needed_a_side=a_side,
        verdict=verdict,
        words=words_of(verdict, had, lacked, a_side),
    )


def _check(horizon: float, level: float, power: float, resamples: int, seed: int) -> None:
    refuse_draws(resamples, seed)
    share_between(level, "level")
    share_between(power, "power")
    refuse_no_figure(horizon, "horizon", "Give a time above 0")
    if not 0 < horizon < np.inf:
        raise BadLives("argument", "horizon", f"it is {horizon}", "Give a time above 0")


def _needed(bikes: Bikes, ratio: float, level: float, power: float) -> tuple[float, int | None]:
    """Give the events needed with arms as they are, and the bikes a side with equal ones."""
    share = float(np.mean(bikes.is_treated))
    needed = events_needed(ratio, share=share, level=level, power=power)
    with_trouble = float(np.mean(bikes.is_found))
    equal = events_needed(ratio, level=level, power=power)
    return needed, int(np.ceil(equal / 2 / with_trouble)) if with_trouble else None


def _looks(bikes: Bikes, weight: FloatArray, horizon: float) -> list[float]:
    """Give the risks between looks: untreated and treated as they are, then with strata alike."""
    each = np.stack([~bikes.is_treated, bikes.is_treated]).astype(np.float64)
    if weight.any():
        each = np.concatenate([each, alike(bikes, weight)])
    return [float(risk) for risk in between_looks(bikes, horizon, each)]


def _arm(bikes: Bikes, horizon: float, level: float, is_treated: bool, looks: float) -> Arm:
    here = bikes.is_treated == is_treated
    curve = curve_of(bikes.time[here], bikes.is_found[here], level)
    count_found = int(np.count_nonzero(bikes.is_found[here]))
    risk = 1 - float(curve.at([horizon])[0])
    return Arm(int(here.sum()), count_found, curve, risk, looks)
