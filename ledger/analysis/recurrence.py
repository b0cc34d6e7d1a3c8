"""How often things come back: the mean cumulative function of recurrent events."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from scipy.special import ndtri

from ledger.analysis.histories import (
    Histories,
    IntArray,
    at_risk_at,
    codes,
    histories,
    histories_of,
    len_at_least,
    numbers,
)
from ledger.analysis.life_bounds import (
    BadLives,
    Column,
    FloatArray,
    TooFewLives,
    refuse,
    same_length,
    share_between,
)
from ledger.analysis.mean_variance import (
    RiskSets,
    increment_variance,
    poisson_variance,
    risk_sets,
    robust_variance,
    unbiased_variance,
)

Interval = Literal["normal", "log"]
Variance = Literal["robust", "unbiased", "independent increments", "poisson"]
INTERVALS = ("normal", "log")
_ROBUST = "Take the robust variance where units come at unlike ages"
VARIANCES = ("robust", "unbiased", "independent increments", "poisson")


@dataclass(frozen=True, slots=True, eq=False)
class MeanCumulative:
    """A rising step: the mean number (or cost) of events a unit has had by each age.

    One row an age at which anything happened, shape (k,); k is 0 where nothing did.
    """

    time: FloatArray
    at_risk: FloatArray
    """Units watched at each age."""
    count: FloatArray
    """Events at each age."""
    mcf: FloatArray
    """From each age on, until the next; 0 before the first."""
    se: FloatArray
    low: FloatArray
    high: FloatArray
    """The pointwise interval at `level`."""
    watched_from: float
    """The first age at which a unit was watched: the curve counts from there."""
    watched_to: float
    """The last age up to which some unit was watched without a gap: past it nothing is known."""
    count_units: int
    count_events: int
    count_clusters: int
    is_cost: bool
    level: float
    interval: Interval
    variance: Variance
    watched: Histories = field(repr=False)

    def at(self, when: Column | float) -> MeanAt:
        """Give the curve at any ages, one row each; see `MeanAt`."""
        ages = numbers([when] if np.isscalar(when) else when, "when")
        place = np.searchsorted(self.time, ages, side="right")
        is_known = (ages >= self.watched_from) & (ages <= self.watched_to)
        columns = (np.append(0.0, c)[place] for c in (self.mcf, self.se, self.low, self.high))
        mcf, se, low, high = (np.where(is_known, column, np.nan) for column in columns)
        high = np.where(is_known & (place == 0), self._limit_of_none(ages), high)
        return MeanAt(ages, at_risk_at(self.watched, ages), mcf, se, low, high)

    def _limit_of_none(self, ages: FloatArray) -> FloatArray:
        """Give the mean up to which none at all in so many units is no wonder."""
        is_whole = self.watched.start == self.watched_from
        count = len_at_least(np.sort(self.watched.end[is_whole]), ages)
        if self.is_cost:
            return np.full(len(ages), np.inf)
        limit = np.full(len(ages), np.inf)
        np.divide(-np.log((1 - self.level) / 2), count, out=limit, where=count > 0)
        return limit


@dataclass(frozen=True, slots=True, eq=False)
class MeanAt:
    """A mean cumulative function at the ages asked for, shape (n,); NaN where no unit was watched.

    Where nothing has happened yet `mcf`, `se` and `low` are 0. Units that do not differ give no
    interval, so that `high` is then Poisson's exact limit for no event in the units watched all
    the way from the first age on; infinite for costs, and where there is no such unit.
    """

    time: FloatArray
    at_risk: FloatArray
    mcf: FloatArray
    se: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class MeanDifference:
    """One mean cumulative function less another at the ages asked for, shape (n,)."""

    time: FloatArray
    difference: FloatArray
    """NaN where either curve is not known."""
    se: FloatArray
    low: FloatArray
    high: FloatArray


def mean_cumulative(
    unit_of_event: Column,
    time_of_event: Column,
    end: Column,
    *,
    unit: Column | None = None,
    start: Column | None = None,
    cluster: Column | None = None,
    cost: Column | None = None,
    level: float = 0.95,
    interval: Interval = "normal",
    variance: Variance = "robust",
) -> MeanCumulative:
    """Give the mean cumulative function of events that come back, from plain columns.

    One row an event: `unit_of_event`, `time_of_event` and `cost` (1 without it). One row a unit,
    also where nothing happened to it: `end`, and `unit` (its name; else its row, 0, 1, 2 …),
    `start` (else 0) and `cluster` (else the unit itself), such as the bike a part is on. Which
    unit is watched when, and what is refused with `BadLives`, stands at `histories`. Rows may be
    in any order; several events of one unit at one age all count. Raises `TooFewLives` where
    there is no unit.

    The curve is the sum over ages of (sum of costs) / (units at risk). Its variance is

    - "robust": Lawless and Nadeau, Technometrics 37 (1995), 158; right whatever the process, as
      long as clusters are independent and watching does not end because of what happened;
    - "unbiased": Nelson, Technometrics 37 (1995), 147, with n - 1 for n: the same of many units,
      larger of few, and now and then below 0 (given as 0); only for units watched from one age;
    - "independent increments": what several programs and web pages print; on the same curve it
      differs (0.032, 0.064, 0.096 where the robust one is 0.032, 0.048, 0.128);
    - "poisson": the naive one of equal Poisson processes.

    Only the robust one heeds clusters.

    The interval is mcf -/+ z se ("normal", Nelson's, may fall below 0) or mcf exp(-/+ z se / mcf)
    ("log", Meeker and Escobar 1998, section 16.3.3).
    """
    watched = histories(unit_of_event, time_of_event, end, unit=unit, start=start)
    return mean_cumulative_of(
        watched, cluster=cluster, cost=cost, level=level, interval=interval, variance=variance
    )


def mean_cumulative_of(
    watched: Histories
    | Mapping[object, tuple[Column, float | None]]
    | Sequence[tuple[Column, float | None]],
    *,
    cluster: Column | None = None,
    cost: Column | None = None,
    level: float = 0.95,
    interval: Interval = "normal",
    variance: Variance = "robust",
) -> MeanCumulative:
    """Give the mean cumulative function of histories, or of (times of events, end) unit by unit.

    `{"251": ([], 761), "327": ([98], 667)}` or the same as a list; else as `mean_cumulative`.
    """
    of = watched if isinstance(watched, Histories) else histories_of(watched)
    share_between(level, "level")
    _refuse_other(interval, INTERVALS, "interval")
    _refuse_other(variance, VARIANCES, "variance")
    if not len(of.end):
        raise TooFewLives("units", "end", "there are none", "A curve needs one")
    size = _sizes(cost, len(of.time))
    who = np.arange(len(of.end)) if cluster is None else codes(cluster, "cluster")
    same_length(of.end, {"cluster": who.astype(np.float64)})
    sets = risk_sets(of)
    mcf = np.cumsum(sets.summed(size) / sets.at_risk)
    se = np.sqrt(_spread(variance, sets, of, size, who))
    low, high = _limits(mcf, se, level, interval)
    count = sets.summed(np.ones(len(of.time)))
    curve = (sets.time, sets.at_risk, count, mcf, se, low, high)
    counts = (len(of.end), len(of.time), int(who.max()) + 1)
    seen, is_cost = _watched_between(of), cost is not None
    return MeanCumulative(*curve, *seen, *counts, is_cost, level, interval, variance, of)


def difference(
    first: MeanCumulative, second: MeanCumulative, when: Column | float, level: float = 0.95
) -> MeanDifference:
    """Give the first curve less the second at ages, with the normal interval of the difference.

    The two must be of different clusters: of the same bikes, they are not independent, and the
    interval is wrong. While nothing has happened in either, the interval says nothing. Source:
    Doganaksoy and Nelson, Lifetime Data Analysis 4 (1998), 63.
    """
    share_between(level, "level")
    one, two = first.at(when), second.at(when)
    apart, se = one.mcf - two.mcf, np.hypot(one.se, two.se)
    return MeanDifference(one.time, apart, se, *_limits(apart, se, level, "normal"))


def _spread(
    variance: Variance, sets: RiskSets, of: Histories, size: FloatArray, who: IntArray
) -> FloatArray:
    if variance == "robust":
        return robust_variance(sets, of.unit, size, who)
    if variance == "unbiased":
        refuse(of.start != of.start.min(), "start", "it is not that of the others", _ROBUST)
        return unbiased_variance(sets, of.unit, size)
    if variance == "poisson":
        return poisson_variance(sets, size)
    return increment_variance(sets, of.unit, size)


def _sizes(cost: Column | None, count: int) -> FloatArray:
    if cost is None:
        return np.ones(count)
    size = numbers(cost, "cost")
    same_length(np.empty(count), {"cost": size})
    refuse(~((size >= 0) & (size < np.inf)), "cost", "it is no cost", "Give 0 or more")
    return size


def _limits(
    mcf: FloatArray, se: FloatArray, level: float, interval: str
) -> tuple[FloatArray, FloatArray]:
    reach = float(ndtri((1 + level) / 2)) * se
    if interval == "normal":
        return mcf - reach, mcf + reach
    factor = np.exp(np.divide(reach, mcf, out=np.zeros_like(mcf), where=mcf > 0))
    return mcf / factor, mcf * factor


def _watched_between(of: Histories) -> tuple[float, float]:
    """Give the ages between which some unit was always watched, from the first on."""
    if not of.start.any():
        return 0.0, float(of.end.max())
    order = np.argsort(of.start)
    start, reach = of.start[order], np.maximum.accumulate(of.end[order])
    is_gap = start[1:] > reach[:-1]
    last = int(np.argmax(is_gap)) if is_gap.any() else len(reach) - 1
    return float(start[0]), float(reach[last])


def _refuse_other(given: str, known: tuple[str, ...], field: str) -> None:
    if given not in known:
        right = f"Give one of {', '.join(known)}"
        raise BadLives("argument", field, f"{given!r} is not known", right)
