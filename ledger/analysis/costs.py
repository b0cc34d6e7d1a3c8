"""What running chains long cost or saved, against changing every one at its limit.

An account of what was used up, not of bills, and not a causal claim: a chain is charged by the
share of its life it used, a cassette or chainring by its wear over its limit. Changing at the
limit takes more chains, which is subtracted; it spares sprockets what they wear faster under a
chain past its limit (`ledger.analysis.sprockets`). The difference may be negative.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ledger.analysis.sprockets import (
    SprocketSeen,
    SprocketWear,
    fit_sprocket_wear,
    mean_excess,
)
from ledger.analysis.unfit import CannotFit

Floats = NDArray[np.float64]
_SOONEST = 0.1
"""Share of its limit before which no chain is taken to have been changed."""
_COLUMNS_AT_ONCE = 4_096
NOBODY: NDArray[np.int64] = np.empty(0, dtype=np.int64)


@dataclass(frozen=True)
class ChainRuns:
    """What chains ran while they were watched: one entry a chain and stretch."""

    rider: NDArray[np.int64]
    distance_km: Floats
    start: Floats
    """Elongation in % when the stretch began (0: new) and ended."""
    end: Floats
    changed_at: Floats
    """Elongation at which it was changed; of one still on, at which it would be."""
    limit: Floats
    price: Floats
    """Of a new chain, in minor units of money."""
    pace: Floats | float = 1.0
    """How fast this rider's sprockets wear, beside those of `SprocketAccount.seen`."""
    pace_log_sd: Floats | float = 0.0
    """1 sd of the natural log of `pace`, the same for every run of a rider."""
    error: Floats | float = 0.0
    """1 sd of `end - start` from the gauge."""
    is_changed: NDArray[np.bool_] | bool = True
    """It was taken off at `changed_at`; else it is still on."""

    @property
    def used(self) -> Floats:
        """Chains used up: the share of its life to where it was changed."""
        found: Floats = (self.end - self.start) / self.changed_at
        return found

    @property
    def used_at_limit(self) -> Floats:
        """Chains the same distance uses up if each is changed at its limit."""
        found: Floats = (self.end - self.start) / self.limit
        return found

    @property
    def excess(self) -> Floats:
        """Mean share past the limit over the stretch."""
        return mean_excess(self.start, self.end, self.limit)


@dataclass(frozen=True)
class SprocketAccount:
    """One sort of sprocket: how it was seen to wear, and what each run's costs and takes."""

    seen: SprocketSeen
    price: Floats
    """Minor units, one entry a chain run; 0 where there is no such sprocket."""
    wear_limit: Floats
    """In the unit of `seen.wear`, one entry a chain run."""


@dataclass(frozen=True, slots=True)
class Differences:
    """What drivetrains used up beyond, or short of, changing every chain at its limit.

    Arrays have one entry a rider of `riders`; money in minor units, negative where running on was
    the cheaper way.
    """

    riders: NDArray[np.int64]
    distance_km: Floats
    spent: Floats
    extra_chains: Floats
    """How many more chains changing at the limit would have taken."""
    difference: Floats
    low: Floats
    """NaN, as `high`, where one rider alone tells how the sprockets wear."""
    high: Floats
    shop_spent: float
    shop_difference: float
    shop_low: float
    shop_high: float


def difference_from_changing_at_limit(
    runs: ChainRuns,
    sprockets: Sequence[SprocketAccount],
    *,
    level: float = 0.8,
    count_samples: int = 200,
    seed: int = 20_260_930,
) -> Differences:
    """Give what each rider and the shop used up less what changing at the limit would have.

    Holds if lives hold: the same wear rates, and sprockets that wear as fitted; the first sort is
    the one seen most, which the others are drawn towards (see `fit_sprocket_wear`). Intervals are
    by bootstrap over riders: whole riders are drawn again, the sprockets' wear fitted anew, and
    for the shop the riders summed anew. One rider cannot be drawn again: theirs is from the
    sprockets' wear fitted anew, and from their pace and readings, each drawn with its error; where
    nobody else's sprockets were seen there is none, and where nobody else is there the shop's is
    theirs. Raises CannotFit where a figure cannot be.
    """
    _check(runs)
    riders, place = np.unique(runs.rider, return_inverse=True)
    models = fitted([one.seen for one in sprockets])
    own = _by_rider(_difference(runs, sprockets, models), place)
    spent = _by_rider(_spent(runs, sprockets, models), place)
    extra = _by_rider(runs.used_at_limit - runs.used, place)
    samples = _samples(runs, sprockets, riders, place, count_samples, np.random.default_rng(seed))
    tails = [(1 - level) / 2, (1 + level) / 2]
    low, high = _quantiles(samples[:, :-1], tails)
    is_told = _by_rider((~_is_told(runs, sprockets)).astype(np.float64), place) == 0
    low, high = np.where(is_told, low, np.nan), np.where(is_told, high, np.nan)
    shop = np.quantile(samples[:, -1], tails) if len(riders) > 1 else (low[0], high[0])
    return Differences(
        riders, _by_rider(runs.distance_km, place), spent, extra, own, low, high,
        float(spent.sum()), float(own.sum()), float(shop[0]), float(shop[1]),
    )  # fmt: skip


def _quantiles(samples: Floats, shares: Sequence[float]) -> Floats:
    """Give quantiles of each column, some columns at a time: each is copied to be sorted."""
    starts = range(0, samples.shape[1], _COLUMNS_AT_ONCE)
    found = [
        np.quantile(samples[:, start : start + _COLUMNS_AT_ONCE], shares, axis=0)
        for start in starts
    ]
    return np.concatenate(found, axis=1)


def _check(runs: ChainRuns) -> None:
    figures = np.column_stack([runs.distance_km, runs.changed_at, runs.limit])
    bad = ~(np.isfinite(figures) & (figures > 0)).all(axis=1) | ~np.isfinite(runs.end - runs.start)
    if bad.any():
        row = int(np.flatnonzero(bad)[0])
        right = "Give a distance, a limit and an elongation at the change above 0"
        raise CannotFit(f"run {row}", "distance_km, changed_at, limit", "is not above 0", right)
    if not len(runs.rider):
        raise CannotFit("runs", "rider", "there is none", "Give a chain that was read twice")


def _is_told(runs: ChainRuns, sprockets: Sequence[SprocketAccount]) -> NDArray[np.bool_]:
    """Say of each run whether all its sprockets were seen of several riders."""
    found = np.ones(len(runs.rider), dtype=bool)
    for one in sprockets:
        if len(np.unique(one.seen.rider)) < 2:
            found &= one.price == 0
    return found


def _by_rider(figures: Floats, place: NDArray[np.intp]) -> Floats:
    return np.bincount(place, weights=figures).astype(np.float64)


def _difference(
    runs: ChainRuns, sprockets: Sequence[SprocketAccount], models: Sequence[SprocketWear]
) -> Floats:
    """Give each run's difference; extra chains count against changing at the limit."""
    found: Floats = -runs.price * (runs.used_at_limit - runs.used)
    for account, model in zip(sprockets, models, strict=True):
        faster = runs.pace * runs.distance_km / 1000 * model.per_excess * runs.excess
        found = found + account.price * faster / account.wear_limit
    return found


def _spent(
    runs: ChainRuns, sprockets: Sequence[SprocketAccount], models: Sequence[SprocketWear]
) -> Floats:
    found: Floats = runs.price * runs.used
    for account, model in zip(sprockets, models, strict=True):
        worn = runs.pace * runs.distance_km / 1000 * model.rate(runs.excess)
        found = found + account.price * worn / account.wear_limit
    return found


def _samples(
    runs: ChainRuns,
    sprockets: Sequence[SprocketAccount],
    riders: NDArray[np.int64],
    place: NDArray[np.intp],
    count_samples: int,
    rng: np.random.Generator,
) -> Floats:
    """Give each sample's differences by rider, and last the shop's over the riders drawn."""
    everybody = np.unique(np.concatenate([riders, *(one.seen.rider for one in sprockets)]))
    order = np.argsort(np.lexsort((runs.end, runs.start, runs.distance_km, runs.rider)))
    found = np.empty((count_samples, len(riders) + 1))
    for row in range(count_samples):
        drawn = resampled(everybody, rng)
        models = fitted([one.seen for one in sprockets], everybody, drawn)
        own = _by_rider(_difference(runs, sprockets, models), place)
        found[row, -1] = own @ drawn[np.searchsorted(everybody, riders)]
        paces = rng.standard_normal(len(riders))[place]
        again = _redrawn(runs, paces, rng.standard_normal(len(place))[order])
        found[row, :-1] = _by_rider(_difference(again, sprockets, models), place)
    return found


def _redrawn(runs: ChainRuns, paces: Floats, readings: Floats) -> ChainRuns:
    """Give the runs as they may have been: pace and readings off by so many of their sd.

    A run's readings are off at its end, and at the change by as much.
    """
    spread = np.asarray(runs.pace_log_sd)
    faster = np.exp(spread * paces - spread**2 / 2)
    end = runs.end + runs.error * readings
    taken_off = end + (runs.changed_at - runs.end) * faster
    still_on = np.maximum(end, runs.limit)
    changed_at = np.where(runs.is_changed, np.maximum(taken_off, _SOONEST * runs.limit), still_on)
    return replace(runs, end=end, changed_at=changed_at, pace=runs.pace * faster)


def resampled(riders: NDArray[np.int64], rng: np.random.Generator) -> Floats:
    """Give how often each rider is drawn when as many are drawn with return."""
    drawn = rng.integers(0, len(riders), len(riders))
    return np.bincount(drawn, minlength=len(riders)).astype(np.float64)


def fitted(
    sorts: Sequence[SprocketSeen],
    riders: NDArray[np.int64] = NOBODY,
    drawn: Floats | None = None,
) -> list[SprocketWear]:
    """Give the wear model of each sort, those after the first drawn towards the first's.

    Of `riders` drawn so many times each; that of everybody where theirs cannot be fitted.
    """
    models: list[SprocketWear] = []
    for seen in sorts:
        like = models[0] if models else None
        weight = None if drawn is None else drawn[np.searchsorted(riders, seen.rider)]
        try:
            models.append(fit_sprocket_wear(seen, weight, like))
        except CannotFit:
            models.append(fit_sprocket_wear(seen, None, like))
    return models
