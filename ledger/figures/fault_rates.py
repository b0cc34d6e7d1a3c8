"""How often parts of each model go wrong, and how often repairs that fitted them come back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow.compute as pc
from scipy import special

from ledger.analysis.counted_rates import counted_rates
from ledger.figures.fault_arrays import NONE, Floats, Integers, days, flags, floats
from ledger.figures.fault_estimates import LEVEL, ExposureUnit, ModelRate, ModelRates, Span
from ledger.figures.fault_following import expected_come_backs, followed_days
from ledger.figures.fault_sorts import ModelsOf, models_by_name
from ledger.figures.fault_tables import FaultTables

__all__ = ["SURE", "model_rates"]

SURE = 0.975
"""From this chance on a model's rate is said to be above that of the rest."""
_LEAST_EXPECTED = 3.0
"""With fewer events expected of a model, none at all would be no wonder (5 % or more)."""
_YEAR_DAYS = 365.25
_SHAPES = np.geomspace(0.02, 1e7, 400)


@dataclass(frozen=True, slots=True, eq=False)
class _Counted:
    """Events of each model, one row a model."""

    count: Integers
    """Parts, or repairs."""
    exposure: Floats
    events: Integers
    scale: Floats
    """What an event per exposure is shown as; of come-backs the share of the sort's repairs."""
    unit: ExposureUnit
    judged: Integers | None = None
    """Of repairs: those of which it can be told whether they came back."""


def model_rates(tables: FaultTables) -> ModelRates:
    """Give fault rates by part model a year and a 1,000 km, and the share of come-backs.

    A fault is counted to the part that sat at its position when it was found; a come-back to the
    part that the repair fitted. Each model stands beside the others of its sort (pads beside
    pads): its events over those expected at its sort's rate are drawn together over all models,
    since how far models differ is much the same for all sorts (gamma-Poisson, see
    `ledger.analysis.counted_rates`). A sort's only model has nothing to stand beside: its rate is
    its own, with an exact interval, and says nothing of how far models differ. Repairs
    count for as long as they were followed.

    Nobody draws lots for which model a bike gets: one fitted to bikes that are ridden further goes
    wrong more often a year. The rate a 1,000 km tells these apart.
    """
    spells, codes = tables.spells, tables.codes
    models, part = codes.models, codes.part_of_episode
    found = np.bincount(part[part != NONE], minlength=len(spells))
    km = floats(spells["distance_km"])
    years = days(np.maximum(codes.ended - codes.fitted, 0)) / _YEAR_DAYS
    return ModelRates(
        by_years=_rates(models, _of_parts(models, years, found, "years fitted")),
        by_distance=_rates(models, _of_parts(models, np.nan_to_num(km) / 1000, found, "1,000 km")),
        come_backs=_rates(models, _of_repairs(tables, models)),
    )


def _of_parts(models: ModelsOf, exposure: Floats, found: Integers, unit: ExposureUnit) -> _Counted:
    """Add up parts that were of use to anybody, and the faults found at their positions."""
    is_in = (models.code != NONE) & (exposure > 0)
    code, size = models.code[is_in], len(models.models)
    counts = np.bincount(code, minlength=size)
    sums = np.bincount(code, weights=exposure[is_in], minlength=size)
    events = np.bincount(code, weights=found[is_in], minlength=size).astype(np.int64)
    return _Counted(counts, _floats_of(sums), events, np.ones(size), unit)


def _of_repairs(tables: FaultTables, models: ModelsOf) -> _Counted:
    """Add up repairs that fitted a part: come-backs beside those expected of their sort."""
    repairs = tables.repairs
    repairs = repairs.filter(pc.equal(repairs["kind"], "part_fitted"))
    code = models_by_name(models, repairs)
    repairs, code = repairs.filter(code != NONE), code[code != NONE]
    time, is_event = followed_days(repairs)
    sort, size = models.sort[code], len(models.models)
    expected = expected_come_backs(sort, time, is_event)
    events = np.bincount(code, weights=is_event, minlength=size).astype(np.int64)
    sums = np.bincount(code, weights=expected, minlength=size)
    is_mature, count_sorts = flags(repairs["is_mature"]), len(set(models.sorts))
    back, judged = (
        np.bincount(sort[kept], minlength=count_sorts) for kept in (is_event, is_mature)
    )
    share = back / np.maximum(judged, 1)
    counts = np.bincount(code, minlength=size)
    judged_each = np.bincount(code[is_mature], minlength=size)
    unit: ExposureUnit = "come-backs expected"
    return _Counted(counts, _floats_of(sums), events, share[models.sort], unit, judged_each)


def _floats_of(sums: np.ndarray) -> Floats:
    """Give sums as floats: of nothing at all, bincount counts."""
    return sums.astype(np.float64)


# -- rates beside the rest -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Beside:
    """Models beside the rest of their sort, one row a model; NaN where it cannot be told."""

    rate: Floats
    """Shape (3, models): the shrunk rate and its interval, in events per exposure."""
    rest: Floats
    ratio: Floats
    """Shape (3, models): the rate over that of the rest."""
    chance_above: Floats
    expected: Floats
    """Events that the rest's rate would have given it."""


def _rates(models: ModelsOf, counted: _Counted) -> tuple[ModelRate, ...]:
    rows = np.flatnonzero(counted.exposure > 0)
    if not len(rows):
        return ()
    beside = _beside(
        models.sort[rows], counted.events[rows].astype(np.float64), counted.exposure[rows]
    )
    made = [_row(models, counted, row, beside, place) for place, row in enumerate(rows.tolist())]
    made.sort(key=lambda one: (one.sort, -one.rate.value, one.model))
    return tuple(made)


def _beside(sort: Integers, events: Floats, exposure: Floats) -> _Beside:
    in_all, over = (np.bincount(sort, weights=each)[sort] for each in (events, exposure))
    pooled = in_all / over
    is_alone = np.bincount(sort)[sort] == 1
    shape, along = _shrunk(events, np.where(is_alone, 0.0, exposure * pooled))
    tails = np.array([[0.5], [(1 - LEVEL) / 2], [(1 + LEVEL) / 2]])
    rate = special.gammaincinv(shape, tails) / along
    rate[0] = shape / along
    of_rest, left = in_all - events, over - exposure
    is_beside = (left > 0) & (pooled > 0)
    others = of_rest + 0.5, np.where(is_beside, left * pooled, 1.0)
    share = special.betaincinv(shape, others[0], tails)
    ratio = share / (1 - share) * others[1] / along
    chance = special.betainc(others[0], shape, others[1] / (along + others[1]))
    rest = np.where(left > 0, of_rest / np.where(left > 0, left, 1.0), np.nan)
    return _Beside(
        rate=np.where(pooled > 0, rate * pooled, _of_none(exposure)),
        rest=rest,
        ratio=np.where(is_beside, ratio, np.nan),
        chance_above=np.where(is_beside, chance, np.nan),
        expected=rest * exposure,
    )


def _of_none(exposure: Floats) -> Floats:
    """Give the rate where nothing befell any of the sort: 0, and Poisson's exact upper limit."""
    most = -np.log((1 - LEVEL) / 2) / exposure
    return np.stack([0 * most, 0 * most, most])


def _shrunk(events: Floats, expected: Floats) -> tuple[Floats, Floats]:
    """Give the gamma distribution of each model's rate over its sort's: shape, and rate."""
    is_told = expected > 0
    shape, along = np.ones(len(events)), np.ones(len(events))
    if is_told.any():
        found = counted_rates(events[is_told], expected[is_told], level=LEVEL)
        never = np.full(len(found.high), np.inf)
        shape[is_told] = _shape_of(np.divide(found.high, found.low, out=never, where=found.low > 0))
        along[is_told] = shape[is_told] / found.full_rate
    return shape, along


def _shape_of(quotient: Floats) -> Floats:
    """Give the shape of the gamma distribution whose upper limit is so many times its lower."""
    low, high = (special.gammaincinv(_SHAPES, tail) for tail in ((1 - LEVEL) / 2, (1 + LEVEL) / 2))
    log_quotient = np.log(high) - np.log(np.maximum(low, 1e-300))
    wanted = np.log(quotient)
    return np.exp(np.interp(-wanted, -log_quotient, np.log(_SHAPES)))


def _row(models: ModelsOf, counted: _Counted, row: int, beside: _Beside, place: int) -> ModelRate:
    scale, sort = float(counted.scale[row]), models.sorts[row]
    most = np.inf if scale == 1.0 else 1.0
    rest, chance = float(beside.rest[place]), float(beside.chance_above[place])
    is_told = bool(np.isfinite(chance))
    return ModelRate(
        sort=sort,
        make=models.makes[row],
        model=models.models[row],
        count=int(counted.count[row]),
        exposure=float(counted.exposure[row]),
        count_events=int(counted.events[row]),
        rate=_span(
            np.minimum(beside.rate[:, place] * scale, most)
            if np.isfinite(rest)
            else _own(counted, row)
        ),
        counted_rate=min(float(counted.events[row] / counted.exposure[row]) * scale, most),
        rest_rate=min(rest * scale, most) if np.isfinite(rest) else None,
        ratio=_span(beside.ratio[:, place]) if is_told else None,
        chance_above=chance if is_told else None,
        is_above=is_told and chance >= SURE,
        exposure_unit=counted.unit,
        words=_words(sort, float(beside.expected[place]), chance, np.isfinite(rest)),
    )


def _own(counted: _Counted, row: int) -> Floats:
    """Give the rate of a sort's only model and its exact interval.

    Of events over an exposure Poisson's (Garwood 1936), of a share the binomial one (Clopper and
    Pearson 1934).
    """
    events, tail = float(counted.events[row]), (1 - LEVEL) / 2
    if counted.judged is None:
        exposure = float(counted.exposure[row])
        low = special.gammaincinv(events, tail) if events else 0.0
        high = special.gammaincinv(events + 1, 1 - tail)
        return np.array([events, low, high]) / exposure
    others = float(counted.judged[row]) - events
    low = special.betaincinv(events, others + 1, tail) if events else 0.0
    high = special.betaincinv(events + 1, others, 1 - tail) if others else 1.0
    return np.array([events / (events + others), low, high])


def _span(figures: Floats) -> Span:
    value, low, high = figures.tolist()
    return Span(value, low, high)


def _words(sort: str, expected: float, chance: float, has_rest: bool) -> str:
    if not has_rest:
        return f"no other model of {sort} to hold it against"
    if chance >= SURE:
        return f"more than other {sort}"
    if chance <= 1 - SURE:
        return f"fewer than other {sort}"
    if not expected >= _LEAST_EXPECTED:
        return "too few to judge"
    return f"no difference from other {sort} shown"
