"""When to change chains: drivetrain cost per 1,000 km against the wear at which they are changed.

Renewal-reward (Barlow & Proschan, Mathematical Theory of Reliability, 1965, ch. 4; Ross,
Stochastic Processes, ch. 3): the long-run cost per km is the expected cost of a cycle over its
expected length. A cycle is the life of a cassette: it goes off with the first chain that is
changed when the cassette is at or past its limit, so a whole number of chains is used in it;
chainrings are charged by the share of their limit they wear meanwhile.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import norm

from ledger.analysis.costs import fitted, resampled
from ledger.analysis.sprockets import SprocketSeen, SprocketWear, mean_excess
from ledger.analysis.unfit import CannotFit, refuse_rows, refuse_share

Floats = NDArray[np.float64]
_COUNT_LUCK = 15
"""Points of the spread between cassettes."""
_COUNT_RATES = 24
"""Groups of like chain rates that many riders are put into."""
NEAR_LEAST = 1.02


@dataclass(frozen=True)
class ChainRates:
    """How fast each rider's chains wear; one entry a rider."""

    rider: NDArray[np.int64]
    rate: Floats
    """% of elongation per 1,000 km."""
    distance_km: Floats
    """What the rider weighs in the shop's cost: distance ridden."""
    pace: Floats | float = 1.0
    """How fast this rider's sprockets wear, beside those of `SprocketCost.seen`."""


@dataclass(frozen=True)
class SprocketCost:
    """One sort of sprocket: how it was seen to wear, its price and its limit."""

    seen: SprocketSeen
    price: float
    wear_limit: float


@dataclass(frozen=True, slots=True)
class CostCurve:
    """Cost per 1,000 km in minor units, one entry a threshold."""

    thresholds: Floats
    cost: Floats
    low: Floats
    high: Floats
    chains_a_cassette: Floats
    chance_near_least: Floats
    """Share of bootstrap samples in which this threshold is within 2 % of the least cost."""
    least_at: float
    near_least: Floats
    """The thresholds whose cost is within 2 % of the least: none of them is wrong."""


def seen_thresholds(changed_at: ArrayLike, step: float = 0.05, share: float = 0.9) -> Floats:
    """Give round thresholds inside the range a shop has seen chains changed at.

    The middle `share` of `changed_at` (elongation in % at the change), in steps of `step`. Raises
    CannotFit where there are fewer than two such steps, and for figures that cannot be.
    """
    at = np.asarray(changed_at, dtype=float)
    refuse_rows("chain", "changed_at", at, np.isfinite(at), "Give the wear at the change, in %")
    refuse_share("thresholds", "share", share)
    if not (np.isfinite(step) and step > 0):
        raise CannotFit("thresholds", "step", f"is {step}", "Give a figure above 0")
    low, high = np.quantile(at, [(1 - share) / 2, (1 + share) / 2]) if len(at) else (0.0, 0.0)
    first, last = np.ceil(max(low, step) / step - 1e-9), np.floor(high / step + 1e-9)
    if last <= first:
        right = "Judge thresholds once chains were changed at different wear"
        raise CannotFit("chains", "changed_at", "spans too little to compare thresholds", right)
    return np.round(np.arange(first, last + 1) * step, 9)


def cost_curve(
    thresholds: ArrayLike,
    limit: float,
    chains: ChainRates,
    chain_price: float,
    cassette: SprocketCost,
    rings: Sequence[SprocketCost] = (),
    *,
    level: float = 0.8,
    count_samples: int = 200,
    seed: int = 20_260_930,
) -> CostCurve:
    """Give the cost per 1,000 km of changing chains at each threshold (elongation in %).

    `limit` is the chain's own, past which sprockets wear faster. The band is by bootstrap over
    riders: whole riders are drawn again, and rates and sprockets' wear fitted anew. Prices are
    taken as given. Raises CannotFit where a figure cannot be.
    """
    at = np.asarray(thresholds, dtype=float)
    _check(at, limit, chains)
    accounts = (cassette, *rings)
    everybody = np.unique(np.concatenate([chains.rider, *(one.seen.rider for one in accounts)]))
    rng = np.random.default_rng(seed)
    sorts = [one.seen for one in accounts]
    models = fitted(sorts)
    cost, count = _costs(at, limit, _grouped(chains), chain_price, accounts, models)
    samples = np.empty((count_samples, len(at)))
    for row in range(count_samples):
        drawn = resampled(everybody, rng)
        models = fitted(sorts, everybody, drawn)
        rates = _grouped(chains, drawn[np.searchsorted(everybody, chains.rider)])
        samples[row] = _costs(at, limit, rates, chain_price, accounts, models)[0]
    low, high = np.quantile(samples, [(1 - level) / 2, (1 + level) / 2], axis=0)
    near = np.mean(samples <= NEAR_LEAST * samples.min(axis=1, keepdims=True), axis=0)
    least, within = float(at[np.argmin(cost)]), at[cost <= NEAR_LEAST * cost.min()]
    return CostCurve(at, cost, low, high, count, near, least, within)


def _check(at: Floats, limit: float, chains: ChainRates) -> None:
    figures = np.concatenate([at, [limit], chains.rate, chains.distance_km])
    if not len(at) or not len(chains.rate) or not np.all(np.isfinite(figures) & (figures > 0)):
        right = "Give at least one of each, above 0"
        raise CannotFit("cost curve", "thresholds, limit, rate, distance_km", "is not > 0", right)


def _grouped(chains: ChainRates, weight: Floats | None = None) -> tuple[Floats, Floats, Floats]:
    """Give rates, paces and shares of the distance; many riders in groups of like rates.

    Within a group rate and pace are those of its whole distance.
    """
    pace = np.broadcast_to(np.asarray(chains.pace, dtype=float), chains.rate.shape)
    km = chains.distance_km * (1.0 if weight is None else weight)
    if not km.sum():
        km = chains.distance_km
    if len(km) <= _COUNT_RATES:
        return chains.rate, pace, km / km.sum()
    order = np.argsort(chains.rate)
    middle = (np.cumsum(km[order]) - km[order] / 2) / km.sum()
    group = np.minimum((middle * _COUNT_RATES).astype(np.intp), _COUNT_RATES - 1)

    def summed(figures: Floats) -> Floats:
        found = np.bincount(group, weights=figures[order], minlength=_COUNT_RATES)
        return found.astype(np.float64)

    shares = summed(km)
    there = shares > 0
    means = (summed(km * one)[there] / shares[there] for one in (chains.rate, pace))
    return *means, shares[there] / km.sum()


def _costs(
    at: Floats,
    limit: float,
    rates: tuple[Floats, Floats, Floats],
    chain_price: float,
    accounts: Sequence[SprocketCost],
    models: Sequence[SprocketWear],
) -> tuple[Floats, Floats]:
    """Give cost per 1,000 km and chains a cassette at each threshold.

    Over the spread of cassettes a rider's cost is mean cost over mean length; riders are weighed
    by their distance. Axes: threshold, rate, luck.
    """
    rate, pace, share = rates
    excess = mean_excess(0.0, at, limit)
    life_km = (at[:, None] / rate * 1000)[:, :, None]
    paced = pace[:, None] * life_km / 1000
    worn = models[0].rate(excess)[:, None, None] * _luck(models[0].log_sd) * paced
    count = np.maximum(1, np.ceil(accounts[0].wear_limit / worn - 1e-9))
    cost = accounts[0].price + count * chain_price
    for account, model in zip(accounts[1:], models[1:], strict=True):
        ring = model.rate(excess)[:, None, None] * count * paced
        cost = cost + account.price * ring / account.wear_limit
    length = count * life_km / 1000
    of_rider = cost.mean(axis=2) / length.mean(axis=2)
    return of_rider @ share, count.mean(axis=2) @ share


def _luck(log_sd: float) -> Floats:
    """Give equally likely factors of a log-normal spread with mean 1."""
    points = norm.ppf((np.arange(_COUNT_LUCK) + 0.5) / _COUNT_LUCK)
    factors = np.exp(log_sd * points)
    found: Floats = factors / factors.mean()
    return found
