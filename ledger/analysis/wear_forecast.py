"""Where a part's line stands now, where it goes, and when it reaches its limit.

A rate is log-normal, and given the rate all else is normal: a forecast is a mixture of normal
figures over nodes of the rate. Nothing here is NaN; what never comes is infinite
and turned into None by whoever shows it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from scipy.special import ndtr, ndtri

from ledger.analysis.wear_data import Family, Flags, Floats, Ints
from ledger.analysis.wear_lines import SOLID, Lines, process
from ledger.analysis.wear_rates import Rates
from ledger.analysis.wear_scale import Scales

# Evenly spaced and close: fewer leave steps in the chances where all but the rate is well known.
NODES = np.linspace(-4.0, 4.0, 21)
WEIGHTS = np.exp(-(NODES**2) / 2)
WEIGHTS = WEIGHTS / WEIGHTS.sum()
USE_NODES, USE_WEIGHTS = hermegauss(5)
USE_WEIGHTS = USE_WEIGHTS / USE_WEIGHTS.sum()
LOW, MIDDLE, HIGH = 0.1, 0.5, 0.9
HALVINGS = 24


@dataclass(frozen=True)
class State:
    """Where series (S,) stand at their last reading, and how fast each wears from there."""

    x: Floats
    figure: Floats
    slope: Floats
    variance: Floats
    wander: Floats
    """Variance of wandering a unit of exposure."""
    log_rate: Floats
    log_variance: Floats
    worn_out: Floats
    """The figure nothing wears beyond (S,)."""

    def of(self, which: Ints) -> State:
        """Give the state of some of the series."""
        return State(*(getattr(self, name)[which] for name in self.__dataclass_fields__))

    @cached_property
    def rates(self) -> Floats:
        """The nodes (S, K) of each rate."""
        found: Floats = np.exp(self.log_rate[:, None] + np.sqrt(self.log_variance)[:, None] * NODES)
        return found

    def rate(self, share: float) -> Floats:
        """Give the rate (S,) that the true one is below with a chance of `share`."""
        found: Floats = np.exp(self.log_rate + np.sqrt(self.log_variance) * ndtri(share))
        return found


def state_of(scales: Scales, lines: Lines, rates: Rates) -> State:
    """Give where every series of a family stands."""
    return State(
        x=lines.x,
        figure=lines.figure,
        slope=lines.slope,
        variance=lines.variance,
        wander=scales.wander * scales.rate**2,
        log_rate=rates.mean,
        log_variance=rates.variance,
        worn_out=np.full(len(lines.x), scales.worn_out),
    )


@dataclass(frozen=True, slots=True)
class Mixture:
    """Figures (S,) as mixtures of normal ones: means and deviations (S, K), weights (K,)."""

    means: Floats
    deviations: Floats
    weights: Floats
    most: Floats | float = np.inf
    """What no figure goes beyond (S,)."""

    def chance_above(self, figure: Floats) -> Floats:
        """Give the chance (S,) that each is at or above a figure (S,)."""
        found: Floats = ndtr((self.means - figure[:, None]) / self.deviations) @ self.weights
        return np.asarray(np.clip(found, 0.0, 1.0))

    def quantile(self, share: float) -> Floats:
        """Give the figure (S,) each is below with a chance of `share`."""
        low = (self.means - 9 * self.deviations).min(axis=1)
        high = (self.means + 9 * self.deviations).max(axis=1)
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            is_below = 1 - self.chance_above(middle) < share
            low, high = np.where(is_below, middle, low), np.where(is_below, high, middle)
        found = (low + high) / 2
        off = (found[:, None] - self.means) / self.deviations
        density = (np.exp(-(off**2) / 2) / self.deviations) @ self.weights / np.sqrt(2 * np.pi)
        step = (share - 1 + self.chance_above(found)) / np.maximum(density, 1e-300)
        found = np.clip(found + step, low, high)
        return np.asarray(np.minimum(found, self.most))


def at(
    state: State, x: Floats, x_variance: Floats | float = 0.0, noise: Floats | float = 0.0
) -> Mixture:
    """Give the figures at exposures (S,), not before the last readings.

    `x_variance` is that of the exposure, `noise` that of a gauge where a reading is foretold.
    """
    rates = state.rates
    ahead = np.maximum(x - state.x, 0.0)
    means = state.figure[:, None] + rates * (state.slope + ahead)[:, None]
    variance = state.variance + state.wander * ahead + noise
    spread = np.asarray(variance)[:, None] + rates**2 * np.asarray(x_variance).reshape(-1, 1)
    deviations = np.sqrt(np.maximum(spread, 1e-18))
    return Mixture(means, deviations, WEIGHTS, state.worn_out)


def due_after(
    state: State, limit: Floats, now: Floats, now_variance: Floats, share: float
) -> Floats:
    """Give the exposure (S,) from now within which the limit is reached with a chance of `share`.

    Nought where it is past by now with that chance; infinite where it is not reached within
    fifty times the usual way, and where there is no limit (NaN).
    """
    limit = np.where(np.isnan(limit), np.inf, limit)
    found = np.zeros(len(now))
    variance = np.broadcast_to(np.asarray(now_variance, dtype=np.float64), now.shape)
    is_past = at(state, now, variance).chance_above(limit) >= share
    open_ones = np.flatnonzero(~is_past)
    found[open_ones] = _due_after(
        state.of(open_ones), limit[open_ones], now[open_ones], variance[open_ones], share
    )
    return found


def _due_after(state: State, limit: Floats, now: Floats, variance: Floats, share: float) -> Floats:
    gap = np.maximum(limit - state.figure - state.rate(MIDDLE) * state.slope, 0.0)
    gap = np.where(np.isfinite(gap), gap, 0.0) + np.sqrt(state.variance)
    low, high = np.zeros(len(now)), (gap / state.rate(LOW) + now + np.sqrt(variance)) * 50
    never = at(state, now + high, variance).chance_above(limit) < share
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        is_reached = at(state, now + middle, variance).chance_above(limit) >= share
        low, high = np.where(is_reached, low, middle), np.where(is_reached, middle, high)
    return np.where(never, np.inf, high)


@dataclass(frozen=True, slots=True)
class Use:
    """How series (S,) are used from now on: exposure a fair day, and the days of the season."""

    a_day: Floats
    log_deviation: Floats
    """Standard deviation of the log of `a_day`."""
    season: Floats
    """(R, days + 1) fair days' worth of use from now until each later day."""
    season_of: Ints
    """(S,) row of `season`."""


def due_days(
    state: State, limit: Floats, now: Floats, now_variance: Floats, use: Use, share: float
) -> Floats:
    """Give the days (S,) from now by which the limit is reached with a chance of `share`.

    Infinite where that is beyond the season's last day, and where there is no limit (NaN).
    """
    limit = np.where(np.isnan(limit), np.inf, limit)
    found = np.zeros(len(now))
    variance = np.broadcast_to(np.asarray(now_variance, dtype=np.float64), now.shape)
    is_past = at(state, now, variance).chance_above(limit) >= share
    some = np.flatnonzero(~is_past)
    use = Use(use.a_day[some], use.log_deviation[some], use.season, use.season_of[some])
    found[some] = _due_days(state.of(some), limit[some], now[some], variance[some], use, share)
    return found


def is_due_by(
    state: State,
    limit: Floats,
    now: Floats,
    now_variance: Floats,
    use: Use,
    day: int,
    share: float,
) -> Flags:
    """Say of each series (S,) whether `due_days` are no more than `day`, or the season's last."""
    limit = np.where(np.isnan(limit), np.inf, limit)
    is_past = at(state, now, now_variance).chance_above(limit) >= share
    days = np.full(len(now), min(day, use.season.shape[1] - 1))
    return np.asarray(is_past | (_chance_by(state, limit, now, now_variance, use, days) >= share))


def _due_days(
    state: State, limit: Floats, now: Floats, variance: Floats, use: Use, share: float
) -> Floats:
    count_days = use.season.shape[1] - 1
    low, high = np.zeros(len(now), dtype=np.int64), np.full(len(now), count_days + 1)
    for _ in range(int(np.ceil(np.log2(count_days + 2)))):
        middle = (low + high) // 2
        is_open = high - low > 1
        is_reached = _chance_by(state, limit, now, variance, use, middle) >= share
        high = np.where(is_open & is_reached, middle, high)
        low = np.where(is_open & ~is_reached, middle, low)
    return np.where(high > count_days, np.inf, high.astype(np.float64))


def _chance_by(
    state: State, limit: Floats, now: Floats, now_variance: Floats, use: Use, day: Ints
) -> Floats:
    fair = use.season[use.season_of, day]
    found = np.zeros(len(now))
    for node, weight in zip(USE_NODES, USE_WEIGHTS, strict=True):
        ridden = use.a_day * np.exp(use.log_deviation * node) * fair
        found += weight * at(state, now + ridden, now_variance).chance_above(limit)
    return found


def band(
    family: Family,
    scales: Scales,
    rates: Rates,
    readings: tuple[Floats, Floats],
    rows: Ints,
    which: int,
    x: Floats,
) -> Mixture:
    """Give one series' figures at any exposures (X,): the fitted line before and after readings.

    `readings` are all true figures and error variances (M,), `rows` those of the series.
    """
    series = np.array([which])
    seen = family.x[rows]
    both = process(scales, series, np.concatenate([seen, x])[None, :])[0]
    count = len(rows)
    own = readings[1][rows] + SOLID * np.diag(both)[:count]
    known = both[:count, :count] + np.diag(own)
    cross = both[count:, :count]
    gain = np.linalg.solve(known, cross.T).T if count else np.zeros((len(x), 0))
    start = scales.start[which]
    figure = start + gain @ (readings[0][rows] - start)
    slope = x - gain @ seen
    variance = np.maximum(np.diag(both[count:, count:] - gain @ cross.T), 0.0)
    rate = np.exp(rates.mean[which] + np.sqrt(rates.variance[which]) * NODES)
    means = figure[:, None] + slope[:, None] * rate
    deviations = np.sqrt(np.maximum(variance, 1e-18))[:, None] * np.ones_like(means)
    return Mixture(means, deviations, WEIGHTS, scales.worn_out)
