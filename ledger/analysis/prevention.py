"""Whether bikes that had a preventive treatment at a position showed trouble there less often.

One bike is one row, watched from a landmark (the closing of the job). Nobody drew lots for the
treatment, so whatever shows is association: it does not say the treatment was why.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ledger.analysis.funnel_columns import coded, flags_of, floats_of, one_stratum
from ledger.analysis.life_bounds import (
    BadLives,
    Column,
    FloatArray,
    TooFewLives,
    figures,
    refuse,
    same_length,
    share_between,
)
from ledger.analysis.life_curves import Curve
from ledger.analysis.log_rank import LogRank, events_needed, log_rank_of
from ledger.analysis.prevention_minutes import MinutesApart, minutes_apart
from ledger.analysis.prevention_risks import (
    Bikes,
    alike,
    between_looks,
    curve_of,
    standardised,
    strata_weights,
)
from ledger.analysis.prevention_words import Verdict, verdict_of, words_of

__all__ = ["Arm", "Prevention", "prevention"]


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
    """
    bikes = _bikes(is_treated, fine_until, found_at, last_contact, stratum)
    _check(horizon, level, power)
    share = float(np.mean(bikes.is_treated))
    needed = events_needed(ratio, share=share, level=level, power=power)
    test = log_rank_of(bikes.time, bikes.is_found, bikes.is_treated, bikes.strata)
    weight = strata_weights(bikes, horizon)
    looks = _looks(bikes, weight, horizon)
    arms = [_arm(bikes, horizon, level, is_in, looks[int(is_in)]) for is_in in (True, False)]
    apart = None
    if weight.any():
        ends = standardised(bikes, weight, horizon, level=level, resamples=resamples, seed=seed)
        apart = Difference(*ends, looks[3] - looks[2], int(weight.sum()))
    taken = _minutes(minutes, len(bikes.time))
    count_found = int(np.count_nonzero(bikes.is_found))
    equal = events_needed(ratio, level=level, power=power)
    a_side = int(np.ceil(equal / 2 * len(bikes.time) / count_found)) if count_found else None
    verdict = verdict_of(test, count_found, needed, level)
    counts = [(arm.count_bikes, arm.count_found) for arm in arms]
    return Prevention(
        treated=arms[0],
        untreated=arms[1],
        horizon=horizon,
        level=level,
        difference=apart,
        log_rank=test,
        minutes=minutes_apart(taken, bikes.is_treated, level, resamples, seed),
        ratio=ratio,
        events_needed=needed,
        needed_a_side=a_side,
        verdict=verdict,
        words=words_of(verdict, counts[0], counts[1], a_side),
    )


def _bikes(
    is_treated: Column,
    fine_until: Column,
    found_at: Column,
    last_contact: Column,
    stratum: Column | None,
) -> Bikes:
    arm = flags_of(is_treated, "is_treated")
    fine, contact = floats_of(fine_until, "fine_until"), floats_of(last_contact, "last_contact")
    found = _or_never(found_at, "found_at")
    columns = {"fine_until": fine, "found_at": found, "last_contact": contact}
    same_length(arm.astype(float), columns)
    if arm.all() or not arm.any():
        wrong = "all bikes had it" if arm.any() else "no bike had it"
        raise TooFewLives("bikes", "is_treated", wrong, "It takes bikes with it and without")
    for field, column in (("fine_until", fine), ("last_contact", contact)):
        is_time = (column >= 0) & np.isfinite(column)
        refuse(~is_time, field, "it is before the landmark, or no time", "Give 0 or a time")
    refuse(found <= 0, "found_at", "it is not after the landmark", "Give a time above 0, or None")
    refuse(found < fine, "fine_until", "it is after trouble was found", "Give an earlier look")
    is_seen = np.isfinite(found)
    late = is_seen & (found > contact)
    refuse(late, "last_contact", "it is before trouble was found", "Give that time or a later one")
    refuse(fine > contact, "last_contact", "it is before fine_until", "Give that or a later time")
    count = len(arm)
    strata = (
        one_stratum(count) if stratum is None else coded(stratum, "stratum", count, may_lack=True)
    )
    return Bikes(arm, strata, fine, found, np.where(is_seen, found, contact))


def _or_never(column: Column, field: str) -> FloatArray:
    """Give a column as floats, infinite where nothing stands."""
    if isinstance(column, np.ndarray) and column.dtype.kind in "iuf":
        floats = column.astype(np.float64)
        return np.where(np.isnan(floats), np.inf, floats)
    return figures(column, field, missing=np.inf)


def _minutes(minutes: Column | None, count_rows: int) -> FloatArray:
    """Give the minutes, NaN where there was no next job."""
    if minutes is None:
        return np.full(count_rows, np.nan)
    taken = _or_never(minutes, "minutes")
    if len(taken) != count_rows:
        wrong = f"it has {len(taken)} rows where the first has {count_rows}"
        raise BadLives("column", "minutes", wrong, "Give one figure a row")
    refuse(taken < 0, "minutes", "they are below 0", "Give minutes, or None for no next job")
    return np.where(np.isinf(taken), np.nan, taken)


def _check(horizon: float, level: float, power: float) -> None:
    share_between(level, "level")
    share_between(power, "power")
    if not 0 < horizon < np.inf:
        raise BadLives("argument", "horizon", f"it is {horizon}", "Give a time above 0")


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
