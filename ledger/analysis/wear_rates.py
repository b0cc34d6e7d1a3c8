"""Rates of wear, log-normal across parts, partially pooled: empirical Bayes.

log rate of a part = shop's mean + its kind of riding + model + position + point + its bike + its
own. Each of these is drawn towards nought by its own spread; the spreads are estimated. A rate's
interval includes the uncertainty of what it was pooled with.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ledger.analysis.wear_data import FACTORS, Family, Flags, Floats, Ints
from ledger.analysis.wear_design import start_groups
from ledger.analysis.wear_effects import Effects
from ledger.analysis.wear_lines import Lines

USUAL_SPREAD = 0.35
"""Standard deviation of log rates of parts alike, before the readings say better."""
LEVEL_SPREAD = 0.25
FIRST_SPREAD = 1.0
"""How far off, as a standard deviation of its log, a first look at the mean rate may be."""
BIKE_SPREAD = 0.15
PRIOR_PARTS = 4.0
"""How many parts' worth of readings the usual spreads count for."""
SURE = 1e-12
"""No rate is surer than this share of the variance it had before its readings."""
NODES = 15
ROUNDS = 30
ENOUGH = 5e-4
AT_ONCE = 4_096
"""Series whose nodes are worked out together: so many fit into a processor's own memory."""


@dataclass(frozen=True, slots=True)
class Pool:
    """What a family's parts have in common. The effects' order is `columns`."""

    mean: float
    columns: list[tuple[str, str]]
    effects: Floats
    covariance: Floats
    """Of the mean and the effects, in that order."""
    spread: float
    """Standard deviation of log rates between parts alike on one bike."""
    bike_spread: float
    bikes: Mapping[int, tuple[float, float]]
    """Code of a bike -> how its log rates lie off, and the variance of that."""


@dataclass(frozen=True, slots=True)
class Rates:
    """Each series' log rate (S,), before its readings (prior) and with them (posterior)."""

    prior_mean: Floats
    prior_variance: Floats
    mean: Floats
    variance: Floats


def posterior(lines: Lines, mean: Floats, variance: Floats) -> tuple[Floats, Floats]:
    """Give mean and variance (S,) of log rates under a normal prior, by quadrature."""
    found, left = np.empty(len(mean)), np.empty(len(mean))
    for start in range(0, len(mean), AT_ONCE):
        some = slice(start, start + AT_ONCE)
        found[some], left[some] = _moments(
            lines.score[some], lines.precision[some], mean[some], variance[some]
        )
    return found, np.maximum(left, SURE * variance)


def _moments(
    score: Floats, precision: Floats, mean: Floats, variance: Floats
) -> tuple[Floats, Floats]:
    """Give mean and variance by quadrature around the modes; all are (S,)."""
    centre = _mode(score, precision, mean, variance)
    rate = np.exp(centre)
    curvature = 1 / variance + np.maximum(
        precision * rate**2, 2 * precision * rate**2 - score * rate
    )
    scale = 1 / np.sqrt(curvature)
    nodes = centre[:, None] + scale[:, None] * np.linspace(-4.5, 4.5, NODES)
    rate = np.exp(nodes)
    log = score[:, None] * rate - precision[:, None] * rate**2 / 2
    log -= (nodes - mean[:, None]) ** 2 / (2 * variance[:, None])
    weight = np.exp(log - log.max(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    found = np.einsum("nk,nk->n", weight, nodes)
    return found, np.einsum("nk,nk->n", weight, (nodes - found[:, None]) ** 2)


def tangent(mean: Floats, variance: Floats, log_rate: Floats) -> tuple[Floats, Floats]:
    """Give mean and variance (S,) of the normal prior of a rate that is like its log-normal one
    where it matters: the same slope and bend of the log density at `log_rate`.

    `mean` and `variance` (S,) are those of the log rate. Far out in a tail a normal prior of the
    same moments falls off much faster than the log-normal one.
    """
    rate, off = np.exp(log_rate), (log_rate - mean) / variance
    bend = np.maximum(1 / variance - off - 1, 0.1 / variance) / rate**2
    return rate - (off + 1) / rate / bend, 1 / bend


def _mode(score: Floats, precision: Floats, mean: Floats, variance: Floats) -> Floats:
    centre = mean.copy()
    for _ in range(8):
        rate = np.exp(centre)
        drop = precision * rate**2
        slope = score * rate - drop - (centre - mean) / variance
        bend = 1 / variance + np.maximum(drop, 2 * drop - score * rate)
        centre = centre + np.clip(slope / bend, -0.7, 0.7)
    return centre


def rates(
    family: Family,
    lines: Lines,
    first_rate: float,
    start_error: Floats,
    before: Pool | None = None,
    enough: float = ENOUGH,
) -> tuple[Rates, Pool]:
    """Pool the rates of a family's series; the search starts at `first_rate`, or as `before`.

    `start_error` (K,) is how far off the starts of each group are, all in one direction. The
    search ends where no effect moves by more than `enough`.
    """
    effects = Effects.of(family)
    names = effects.names
    factor_of = np.array([FACTORS.index(factor) for factor, _ in names], dtype=np.int64)
    theta = np.concatenate([[np.log(first_rate)], np.zeros(len(names))])
    levels = np.full(len(FACTORS), LEVEL_SPREAD**2)
    within, between = USUAL_SPREAD**2, BIKE_SPREAD**2
    if before is not None:
        theta = np.concatenate([[before.mean], before.effects])
        within, between = before.spread**2, before.bike_spread**2
        variances = np.diag(before.covariance)[1:]
        levels = _level_spreads(before.effects, variances, factor_of)
    covariance = np.eye(len(theta))
    tells = lines.precision > 0
    head = _one_of_each_bike(family, tells)
    for _ in range(ROUNDS):
        shared = effects.foretold(theta)
        found = _two_stage(family, lines, shared, within, between, tells)
        theta, covariance, step = _shared_effects(
            effects, found, theta, np.log(first_rate), levels, factor_of, tells
        )
        moved = (within, between)
        within, between = _spreads(found, within, tells, head)
        levels = _level_spreads(theta[1:], np.diag(covariance)[1:], factor_of)
        if step < enough and abs(moved[0] - within) + abs(moved[1] - between) < enough / 5:
            break
    shared = effects.foretold(theta)
    found = _two_stage(family, lines, shared, within, between, tells)
    owed = _owed_to_starts(family, effects, lines, found, covariance, start_error, tells)
    covariance = covariance + owed
    mean = shared + found.bike_mean
    variance = within + found.bike_variance + effects.variances(covariance)
    own, left = posterior(lines, mean, variance)
    pool = Pool(
        float(theta[0]), names, theta[1:], covariance,
        float(np.sqrt(within)), float(np.sqrt(between)), _bikes(family, found),
    )  # fmt: skip
    return Rates(mean, variance, own, left), pool


@dataclass(frozen=True, slots=True)
class _Found:
    """One pass: each series seen as a normal figure of its log rate, and its bike's others."""

    figure: Floats
    noise: Floats
    """Variance of the figure about the part's own log rate."""
    off: Floats
    """The figure less what riding, model, position and point foretell."""
    bike_mean: Floats
    """What the bike's other series say of its own effect, and how sure (S,)."""
    bike_variance: Floats
    spread: Floats
    """Variance of `off` less `bike_mean` (S,)."""
    all_mean: Floats
    """The same with the series itself (S,)."""
    all_variance: Floats


def _two_stage(
    family: Family, lines: Lines, shared: Floats, within: float, between: float, tells: Flags
) -> _Found:
    size = len(shared)
    variance = np.full(size, within + between)
    mean, left = posterior(lines, shared, variance)
    gained = np.maximum(1 / left - 1 / variance, 1e-9)
    figure = np.where(tells, shared + (mean - shared) / left / gained, shared)
    noise = np.where(tells, 1 / gained, 1e12)
    has_bike = family.bike >= 0
    bike = np.where(has_bike, family.bike, 0)
    weight = np.where(has_bike & tells, 1 / (within + noise), 0.0)
    total = np.bincount(bike, weights=weight)[bike]
    pull = np.bincount(bike, weights=weight * (figure - shared))[bike]
    others, others_pull = total - weight, pull - weight * (figure - shared)
    precision = 1 / max(between, 1e-9)
    return _Found(
        figure=figure,
        noise=noise,
        off=figure - shared,
        bike_mean=others_pull / (others + precision),
        bike_variance=1 / (others + precision),
        spread=within + noise + 1 / (others + precision),
        all_mean=pull / (total + precision),
        all_variance=1 / (total + precision),
    )


def _shared_effects(
    effects: Effects,
    found: _Found,
    theta: Floats,
    first: float,
    levels: Floats,
    factor_of: Ints,
    tells: Flags,
) -> tuple[Floats, Floats, float]:
    """Give mean and effects by ridge regression of the figures, their covariance, the step."""
    # A series counts less where its bike's others say the same already.
    weight = np.where(tells, 1 / found.spread, 0.0)
    ridge = np.concatenate([[1 / FIRST_SPREAD**2], 1 / levels[factor_of]])
    normal = effects.squares(weight) + np.diag(ridge)
    right = effects.sums(weight * (found.figure - found.bike_mean))
    right[0] += first / FIRST_SPREAD**2
    covariance = np.linalg.inv(normal)
    new = np.asarray(covariance @ right)
    return new, np.asarray(covariance), float(np.abs(new - theta).max())


def _owed_to_starts(
    family: Family,
    effects: Effects,
    lines: Lines,
    found: _Found,
    covariance: Floats,
    start_error: Floats,
    tells: Flags,
) -> Floats:
    """Give the covariance of mean and effects that is owed to starts being off together."""
    weight = np.where(tells & family.is_new, 1 / found.spread, 0.0)
    # A start higher by one unit makes a log rate smaller by so much.
    moved = lines.level * np.exp(found.figure - found.off) * np.minimum(found.noise, 1e9)
    group = start_groups(family)
    moves = [
        covariance @ effects.sums(np.where(group == one, weight * moved, 0.0)) * error
        for one, error in enumerate(start_error)
    ]
    return np.asarray(sum(np.outer(move, move) for move in moves))


def _spreads(found: _Found, within: float, tells: Flags, head: Ints) -> tuple[float, float]:
    """Give the variances within and between bikes after one scoring step.

    `head` is one series of each bike of which any tells a rate.
    """
    off, spread = found.off - found.bike_mean, found.spread
    gain = np.where(tells, (off**2 - spread) / spread**2, 0.0).sum() / 2
    bend = np.where(tells, 1 / spread**2, 0.0).sum() / 2
    # A scaled inverse chi-squared prior: it keeps the variance off nought.
    gain += PRIOR_PARTS / 2 * (USUAL_SPREAD**2 / within**2 - 1 / within)
    bend += PRIOR_PARTS / (2 * within**2)
    new_within = float(np.clip(within + gain / bend, within / 3, within * 3))
    seen = found.all_mean[head] ** 2 + found.all_variance[head]
    count = len(head)
    new_between = (PRIOR_PARTS * BIKE_SPREAD**2 + seen.sum()) / (PRIOR_PARTS + count)
    return float(np.clip(new_within, 0.02**2, 2.0)), float(np.clip(new_between, 1e-5, 2.0))


def _one_of_each_bike(family: Family, tells: Flags) -> Ints:
    head = np.unique(np.where(tells, family.bike, -1), return_index=True)[1]
    return np.asarray(head[tells[head] & (family.bike[head] >= 0)])


def _level_spreads(effects: Floats, variance: Floats, factor_of: Ints) -> Floats:
    """Give each factor's variance between its levels, drawn to what is usual."""
    size = len(FACTORS)
    count = np.bincount(factor_of, minlength=size)
    seen = np.bincount(factor_of, weights=effects**2 + variance, minlength=size)
    found: Floats = (2 * LEVEL_SPREAD**2 + seen) / (2 + count)
    return found


def _bikes(family: Family, found: _Found) -> Mapping[int, tuple[float, float]]:
    codes, head = np.unique(family.bike, return_index=True)
    known = head[codes >= 0]
    off, variance = found.all_mean[known].tolist(), found.all_variance[known].tolist()
    return dict(zip(family.bike[known].tolist(), zip(off, variance, strict=True), strict=True))
