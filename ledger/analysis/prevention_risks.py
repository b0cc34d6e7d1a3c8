"""The risk of trouble by a horizon, with and without, alike in their strata; and how sure it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ledger.analysis.funnel_columns import followed, one_stratum
from ledger.analysis.life_bounds import BoolArray, FloatArray
from ledger.analysis.life_curves import GREENWOOD, Curve, widened
from ledger.analysis.prevention_bikes import Bikes, CodeArray
from ledger.analysis.turnbull import Intervals, most_likely_shares

_MOST_STEPS = 64
"""Times of trouble told apart in the resampling; more are put together."""
_MOST_ROUNDS = 400
"""Steps towards the most likely shares: what is left moves a risk by half a point at most."""
_MOST_LOOKS = 47
"""Times of looks told apart between looks."""


def curve_of(time: FloatArray, is_found: BoolArray, level: float) -> Curve:
    """Give the Kaplan–Meier curve of one arm, as `life_curves.kaplan_meier` does.

    Worked out here because the library that one calls takes a second to load.
    """
    everyone = one_stratum(len(time))
    cells = followed(everyone, everyone, time, is_found).cells
    times = np.unique(time[is_found])
    left = cells.at_risk - cells.events
    with np.errstate(divide="ignore", invalid="ignore"):
        survival = np.cumprod(left / cells.at_risk)
        variance = np.cumsum(cells.events / (cells.at_risk * left)) / np.log(survival) ** 2
        lean = ndtri((1 + level) / 2) * np.sqrt(variance)
        band = [survival ** np.exp(lean), survival ** np.exp(-lean)]
    low, high = np.nan_to_num(band[0], nan=0.0), np.nan_to_num(band[1], nan=1.0)
    low, high = np.where(survival == 0, 0.0, low), np.where(survival == 0, 0.0, high)
    first = (np.append(0.0, times), np.append(0.0, times), np.append(1.0, survival))
    at_risk = np.append(float(len(time)), cells.at_risk.astype(np.float64))
    ends = widened(first[2], np.append(1.0, low), np.append(1.0, high), at_risk, level)
    return Curve(*first, *ends, at_risk, level, GREENWOOD)


def standardised(
    bikes: Bikes, weight: FloatArray, horizon: float, *, level: float, resamples: int, seed: int
) -> tuple[float, float, float]:
    """Give the difference of risks by the horizon and its interval, strata by their weights.

    The interval is percentiles of `resamples` bootstrap samples of whole bikes within each
    stratum and arm, drawn as counts of bikes alike, as if each arm had had one more bike with
    trouble and one more without (Agresti and Caffo, American Statistician 54, 2000), so that an
    arm without trouble is not taken for one that has none.
    """
    side = (weight / weight.sum()).repeat(2) * np.tile([-1.0, 1.0], len(weight))
    point = float(side @ risks_of(stepped(bikes, horizon)))
    chances = _softened(stepped(bikes, horizon, _MOST_STEPS), weight.repeat(2) > 0)
    drawn = _drawn(chances, resamples, np.random.default_rng(seed))
    off = (drawn - risks_of(chances)) @ side
    low, high = np.quantile(off, [(1 - level) / 2, (1 + level) / 2]) + point
    return point, max(float(low), -1.0), min(float(high), 1.0)


def strata_weights(bikes: Bikes, horizon: float) -> FloatArray:
    """Give how many bikes each stratum counts for: all of them, or none if it cannot compare."""
    group, size = bikes.group, bikes.count_groups
    is_followed = (bikes.time >= horizon) | bikes.is_found
    reach = np.bincount(group[bikes.time >= horizon], minlength=size) > 0
    all_found = np.bincount(group[~is_followed], minlength=size) == 0
    count = np.bincount(group, minlength=size)
    is_known = ((reach | all_found) & (count > 0)).reshape(-1, 2).all(axis=1)
    return np.where(is_known, count.reshape(-1, 2).sum(axis=1), 0).astype(np.float64)


def alike(bikes: Bikes, weight: FloatArray) -> FloatArray:
    """Weigh bikes so that either arm has the strata of all: untreated, treated; (2, bikes)."""
    count = np.bincount(bikes.group, minlength=bikes.count_groups)
    of_each = np.repeat(weight, 2) / np.maximum(count, 1)
    each = of_each[bikes.group]
    return np.stack([np.where(bikes.is_treated, 0.0, each), np.where(bikes.is_treated, each, 0.0)])


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """Bikes of each group by when trouble was found, or they were lost sight of."""

    found: FloatArray
    """Shape (..., groups, steps): found at each step."""
    lost: FloatArray
    """Shape (..., groups, steps + 1): still without trouble at the step before; the last at all."""


def stepped(bikes: Bikes, horizon: float, most: int | None = None) -> Steps:
    """Give the bikes by the times trouble was found up to the horizon, at most so many of them."""
    is_in_time = bikes.is_found & (bikes.time <= horizon)
    times = np.unique(bikes.time[is_in_time]) if is_in_time.any() else np.array([horizon])
    times = times if most is None else _thinned(times, most)
    width, group = len(times), bikes.group
    at = np.searchsorted(times, bikes.time[is_in_time])
    until = np.searchsorted(times, bikes.time[~is_in_time], side="right")
    found = _counted(group[is_in_time], at, bikes.count_groups, width)
    return Steps(found, _counted(group[~is_in_time], until, bikes.count_groups, width + 1))


def _counted(row: CodeArray, column: CodeArray, count_rows: int, count_columns: int) -> FloatArray:
    counts = np.bincount(row * count_columns + column, minlength=count_rows * count_columns)
    return counts.reshape(count_rows, count_columns).astype(np.float64)


def risks_of(steps: Steps) -> FloatArray:
    """Give each group's Kaplan–Meier risk by the last step; shape (..., groups)."""
    found, lost = steps.found, steps.lost[..., 1:]
    at_risk = np.cumsum((found + lost)[..., ::-1], axis=-1)[..., ::-1]
    share = np.divide(found, at_risk, where=at_risk > 0, out=np.zeros_like(found))
    return np.asarray(1 - np.prod(1 - share, axis=-1))


def _softened(steps: Steps, is_kept: BoolArray) -> Steps:
    """Add one bike with trouble and one without to each arm, over its groups by their sizes."""
    found, lost = steps.found * is_kept[:, None], steps.lost * is_kept[:, None]
    size = (found.sum(axis=1) + lost.sum(axis=1)).reshape(-1, 2)
    more = (size / size.sum(axis=0)).reshape(-1, 1)
    last = np.zeros(lost.shape[1])
    last[-1] = 1.0
    return Steps(found + more / found.shape[1], lost + more * last)


def _drawn(steps: Steps, resamples: int, random: np.random.Generator) -> FloatArray:
    """Give the groups' risks in samples of as many bikes; shape (resamples, groups)."""
    width = steps.found.shape[1]
    cells = np.concatenate([steps.found, steps.lost], axis=1)
    risks = np.zeros((resamples, len(cells)))
    for group in np.flatnonzero(cells.any(axis=1)):
        some = np.flatnonzero(cells[group])
        total = cells[group].sum()
        counts = np.zeros((resamples, cells.shape[1]))
        counts[:, some] = random.multinomial(round(total), cells[group, some] / total, resamples)
        risks[:, group] = risks_of(Steps(counts[:, :width], counts[:, width:]))
    return risks


def between_looks(bikes: Bikes, horizon: float, weights: FloatArray) -> FloatArray:
    """Give the most likely risk by the horizon, trouble put between looks (Turnbull).

    `weights` is (samples, bikes), a risk a sample. Looks are put together to 48 times up to the
    horizon and 24 past it, the nearest. Where looks do not say on which side of the horizon
    trouble came, its share is spread evenly over the steps.
    """
    edges = _edges(bikes, horizon)
    until = _nearest(edges[:-1], bikes.fine_until)
    by = np.where(bikes.is_found, _nearest(edges[:-1], bikes.found_at), len(edges) - 1)
    last = np.maximum(by, 1) - 1
    first = np.minimum(until, last)
    pairs, pair = np.unique(first * len(edges) + last, return_inverse=True)
    summed = [np.bincount(pair, weights=each, minlength=len(pairs)) for each in weights]
    sums = np.stack(summed).astype(np.float64)
    places = (pairs // len(edges)).astype(np.intp), (pairs % len(edges)).astype(np.intp)
    among = Intervals(edges[:-1], edges[1:], *places)
    shares = most_likely_shares(among, sums, tolerance=3e-4, most=_MOST_ROUNDS)
    return np.asarray(shares[:, edges[1:] <= horizon].sum(axis=1))


def _nearest(edges: FloatArray, times: FloatArray) -> CodeArray:
    middles = (edges[1:] + edges[:-1]) / 2
    return np.asarray(np.searchsorted(middles, times), dtype=np.int64)


def _edges(bikes: Bikes, horizon: float) -> FloatArray:
    """Give the times of looks that are told apart, from 0 on, the horizon and no end at all.

    Those past the horizon too: to take trouble found then as never found, or to widen bounds to
    the next time told apart, would be to lose sight of a bike because of its trouble.
    """
    looks = np.concatenate([bikes.fine_until, bikes.found_at])
    times = np.unique(looks[(looks > 0) & np.isfinite(looks)])
    before = _thinned(times[times < horizon], _MOST_LOOKS)
    after = _thinned(times[times > horizon], _MOST_LOOKS // 2)
    return np.concatenate([[0.0], before, [horizon], after, [np.inf]])


def _thinned(times: FloatArray, most: int) -> FloatArray:
    """Give at most so many of the times, the first and the last among them."""
    if len(times) <= most:
        return times
    places = np.linspace(0, len(times) - 1, most).round().astype(np.int64)
    return np.asarray(times[places])
