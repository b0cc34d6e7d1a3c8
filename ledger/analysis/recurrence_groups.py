"""Groups of units beside one another: mean numbers of events by one age, each against the rest.

A group's mean by an age is its mean cumulative function there (`recurrence.mean_cumulative`). The
rest of a group is every other unit. Both lean on the same clusters where a bike has parts of two
models or jobs of two tiers, so the variance of a difference is that of the difference of their
residuals cluster by cluster: the robust variance of Lawless and Nadeau, Technometrics 37 (1995),
158, carried over to a difference of curves of dependent units.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ledger.analysis.histories import Histories, IntArray, codes
from ledger.analysis.life_bounds import (
    BadLives,
    BoolArray,
    Column,
    FloatArray,
    TooFewLives,
    refuse_no_figure,
    same_length,
    share_between,
)

__all__ = ["GroupMeans", "group_means"]


@dataclass(frozen=True, slots=True, eq=False)
class GroupMeans:
    """One row a group, shape (groups,); NaN where nobody of a group was watched for so long."""

    when: float
    """The age the figures are of."""
    count_units: IntArray
    count_events: IntArray
    """Whenever they happened."""
    count_clusters: IntArray
    mean: FloatArray
    """Events a unit has had by that age."""
    se: FloatArray
    rest: FloatArray
    """The same of all units of other groups."""
    difference: FloatArray
    """`mean` less `rest`."""
    difference_se: FloatArray
    low: FloatArray
    high: FloatArray
    """The normal interval of the difference at `level`."""
    level: float


@dataclass(frozen=True, slots=True, eq=False)
class _Placed:
    """Events up to the age on the ages at which anything happened, and each unit's end on them."""

    count_ages: int
    place: IntArray
    """Of each event."""
    unit: IntArray
    """Of each event."""
    past: IntArray
    """Of each unit: the first age at which it is watched no more."""


def group_means(
    watched: Histories,
    group: Column,
    when: float,
    *,
    cluster: Column | None = None,
    level: float = 0.95,
) -> GroupMeans:
    """Give each group's mean number of events by an age, and its difference from the rest.

    `group` (numbers 0, 1, 2 … without a gap) and `cluster` (any names; else the unit itself) have
    one row a unit. All units are watched from 0. A group is known at the age where a unit of it
    was watched up to it or longer. Raises `BadLives` for columns of another length, groups that
    are no such numbers, units watched from later on or an age that is not above 0; `TooFewLives`
    where there is no unit.
    """
    share_between(level, "level")
    of = _groups(watched, group, when)
    who = np.arange(len(of)) if cluster is None else codes(cluster, "cluster")
    same_length(watched.end, {"cluster": who.astype(np.float64)})
    placed = _placed(watched, when)
    count = int(of.max()) + 1
    longest = np.zeros(count)
    np.maximum.at(longest, of, watched.end)
    is_known = longest >= when
    is_rest_known = is_known.sum() - is_known > 0
    rows = [_beside(placed, of == own, who) for own in range(count)]
    mean, se, rest, error = np.array(rows).T
    mean, se = (np.where(is_known, column, np.nan) for column in (mean, se))
    rest = np.where(is_rest_known, rest, np.nan)
    error = np.where(is_known & is_rest_known, error, np.nan)
    reach = float(ndtri((1 + level) / 2)) * error
    counts = (np.bincount(of), np.bincount(of[watched.unit], minlength=count))
    apart = mean - rest
    spans = (apart, error, apart - reach, apart + reach)
    return GroupMeans(when, *counts, _count_clusters(of, who), mean, se, rest, *spans, level)


def _count_clusters(of: IntArray, who: IntArray) -> IntArray:
    width = int(who.max()) + 1
    is_there = np.zeros(width * (int(of.max()) + 1), dtype=np.bool_)
    is_there[of * width + who] = True
    return np.asarray(is_there.reshape(-1, width).sum(axis=1))


def _groups(watched: Histories, group: Column, when: float) -> IntArray:
    if not len(watched.end):
        raise TooFewLives("units", "end", "there are none", "A mean needs one")
    refuse_no_figure(when, "when", "Give an age above 0")
    if not 0 < when < np.inf:
        raise BadLives("argument", "when", f"it is {when}", "Give an age above 0")
    if watched.start.any():
        raise BadLives("argument", "watched", "a unit has a start", "Give units watched from 0")
    of = np.asarray(group)
    same_length(watched.end, {"group": of.astype(np.float64)})
    if of.dtype.kind not in "iu" or of.min() < 0 or np.any(np.bincount(of) == 0):
        raise BadLives("column", "group", "it does not number groups", "Give 0, 1, 2 … a unit")
    return of.astype(np.int64)


def _placed(watched: Histories, when: float) -> _Placed:
    is_early = watched.time <= when
    ages, place = np.unique(watched.time[is_early], return_inverse=True)
    past = np.searchsorted(ages, watched.end, side="right")
    return _Placed(len(ages), place, watched.unit[is_early], past)


def _beside(placed: _Placed, is_own: BoolArray, who: IntArray) -> tuple[float, float, float, float]:
    """Give the mean, its error, the rest's mean, and the error of the difference.

    A unit's residual is its events, each over the units of its side at risk, less what was
    expected until its end; those of the rest count against the group.
    """
    side = np.where(is_own, 0, 1)
    width = placed.count_ages + 1
    left = np.bincount(side * width + placed.past, minlength=2 * width).reshape(2, width)
    at_risk = np.maximum(left.sum(axis=1, keepdims=True) - np.cumsum(left, axis=1), 1)
    place = side[placed.unit] * width + placed.place
    events = np.bincount(place, minlength=2 * width).reshape(2, width)
    steps = np.cumsum(events / at_risk**2, axis=1)
    until = np.concatenate([[[0.0], [0.0]], steps[:, :-1]], axis=1) * [[-1], [1]]
    sign = np.where(is_own[placed.unit], 1.0, -1.0)
    residual = until.ravel()[side * width + placed.past] + np.bincount(
        placed.unit, weights=sign / at_risk.ravel()[place], minlength=len(who)
    )
    own, rest = np.sum(events / at_risk, axis=1)
    of_own = np.bincount(who, weights=np.where(is_own, residual, 0.0))
    return own, _root(of_own), rest, _root(np.bincount(who, weights=residual))


def _root(of_cluster: np.ndarray) -> float:
    return float(np.sqrt(np.sum(np.square(of_cluster))))
