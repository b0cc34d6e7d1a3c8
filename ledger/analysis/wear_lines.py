"""What a part's own readings say of its rate: exact, because given a rate all is normal.

A reading is start + rate × exposure + wandering + the gauge's error. Given the rate, the rest is
a normal process (start with its variance, wandering like a random walk in the exposure), so the
likelihood of a rate is that of a normal figure: a precision and a score a series.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from ledger.analysis.wear_data import Family, Flags, Floats, Ints, stacks
from ledger.analysis.wear_scale import Scales

SWEEPS = 6
SOLID = 1e-12
"""Share of a variance below which a matrix may have none left to invert."""
STEEPEST = 100.0


@dataclass(frozen=True, slots=True)
class Lines:
    """A series' readings summed up (S,): log likelihood of rate r is score·r − precision·r²/2.

    At its last reading (exposure `x`) its figure is `figure + slope·r`, with variance `variance`.
    """

    precision: Floats
    score: Floats
    level: Floats
    """How much the score falls where all figures of the series are one unit too high."""
    x: Floats
    figure: Floats
    slope: Floats
    variance: Floats
    count: Ints


def process(scales: Scales, series: Ints, x: Floats) -> Floats:
    """Give the covariance (N, n, n) of start and wandering at exposures (N, n)."""
    wander = scales.wander * scales.rate[series] ** 2
    shared = np.minimum(x[:, :, None], x[:, None, :])
    made: Floats = scales.start_variance[series][:, None, None] + wander[:, None, None] * shared
    return made


def lines(family: Family, scales: Scales, figures: Floats, errors: Floats, used: Flags) -> Lines:
    """Sum up every series' used readings: true figures (M,) with their error variances (M,)."""
    size = len(family.series)
    made = Lines(
        precision=np.zeros(size),
        score=np.zeros(size),
        level=np.zeros(size),
        x=np.zeros(size),
        figure=scales.start.copy(),
        slope=np.zeros(size),
        variance=scales.start_variance.astype(np.float64).copy(),
        count=np.bincount(family.series_of[used], minlength=size),
    )
    for series, rows in stacks(family.series_of, used):
        x, start = family.x[rows], scales.start[series]
        covariance = process(scales, series, x)
        diagonal = np.arange(rows.shape[1])
        with_errors = covariance.copy()
        with_errors[:, diagonal, diagonal] += (
            errors[rows] + SOLID * covariance[:, diagonal, diagonal]
        )
        last, whole = covariance[:, -1, :].copy(), covariance[:, -1, -1].copy()
        # What a reading shows is worn, however far it came: an unsure exposure blurs the line
        # the reading stands on, and not the figure the part now has.
        unsure = (scales.rate[series] * family.x_error[rows[:, -1]]) ** 2
        last[:, -1] += unsure
        whole += unsure
        sides = np.stack([x, figures[rows] - start[:, None], last], axis=-1)
        solved = np.linalg.solve(with_errors, sides)
        made.precision[series] = np.einsum("ni,ni->n", x, solved[:, :, 0])
        made.score[series] = np.einsum("ni,ni->n", x, solved[:, :, 1])
        made.level[series] = solved[:, :, 0].sum(axis=1)
        made.x[series] = x[:, -1]
        made.figure[series] = start + np.einsum("ni,ni->n", last, solved[:, :, 1])
        made.slope[series] = x[:, -1] - np.einsum("ni,ni->n", last, solved[:, :, 0])
        left = whole - np.einsum("ni,ni->n", last, solved[:, :, 2])
        made.variance[series] = np.maximum(left, 0.0)
    return made


def leave_one_out(
    family: Family,
    scales: Scales,
    rate: tuple[Floats, Floats],
    figures: Floats,
    errors: Floats,
    used: Flags,
) -> tuple[Floats, Floats]:
    """Give mean and variance (M,) of each reading as all others of its series foretell it.

    `rate` is mean and variance (S,) of the series' rate without its readings. Not used: NaN.
    """
    mean, variance = np.full(len(figures), np.nan), np.full(len(figures), np.nan)
    for series, rows in stacks(family.series_of, used):
        x = family.x[rows]
        whole = process(scales, series, x)
        whole = whole + rate[1][series][:, None, None] * x[:, :, None] * x[:, None, :]
        diagonal = np.arange(rows.shape[1])
        whole[:, diagonal, diagonal] += errors[rows] + SOLID * whole[:, diagonal, diagonal]
        inverse = np.linalg.inv(whole)
        off = figures[rows] - scales.start[series][:, None] - rate[0][series][:, None] * x
        spread = 1 / inverse[:, diagonal, diagonal]
        mean[rows] = figures[rows] - np.einsum("nij,nj->ni", inverse, off) * spread
        variance[rows] = spread
    return mean, variance


def intervals_as_figures(
    family: Family, scales: Scales, rate: tuple[Floats, Floats], used: Flags
) -> tuple[Floats, Floats]:
    """Give true figures and error variances (M,) of all readings, intervals as normal figures.

    An interval (a go/no-go mark) becomes the normal figure that moves its part's line as the
    interval does: expectation propagation (Minka 2001), SWEEPS times over the series that have
    one. One that says nothing gets an enormous variance.
    """
    figures = scales.true_figures(family, family.y)
    errors = scales.variances(family)
    noise = errors.copy()
    low = scales.true_figures(family, family.low)
    high = scales.true_figures(family, family.high)
    has_interval = np.zeros(len(family.series), dtype=bool)
    has_interval[family.series_of[used & family.is_interval]] = True
    if not has_interval.any():
        return figures, errors
    for series, rows in stacks(family.series_of, used & has_interval[family.series_of]):
        is_interval = family.is_interval[rows]
        x = family.x[rows]
        prior = process(scales, series, x)
        prior = prior + rate[1][series][:, None, None] * x[:, :, None] * x[:, None, :]
        expected = scales.start[series][:, None] + rate[0][series][:, None] * x
        site = np.where(is_interval, 0.0, 1 / errors[rows])
        pull = np.where(is_interval, 0.0, np.nan_to_num(figures[rows] - expected) * site)
        bounds = (low[rows] - expected, high[rows] - expected)
        for _ in range(SWEEPS):
            site, pull = _sweep(prior, site, pull, bounds, noise[rows], is_interval)
        least = 1e-9 / np.einsum("nii->ni", prior)
        weak = site <= least
        errors[rows] = np.where(is_interval, 1 / np.where(weak, least, site), errors[rows])
        inferred = expected + np.where(weak, 0.0, pull / np.where(weak, 1.0, site))
        figures[rows] = np.where(is_interval, inferred, figures[rows])
    return figures, errors


def _sweep(
    prior: Floats,
    site: Floats,
    pull: Floats,
    bounds: tuple[Floats, Floats],
    noise: Floats,
    is_interval: Flags,
) -> tuple[Floats, Floats]:
    root = np.sqrt(site)
    inner = np.eye(site.shape[1]) + root[:, :, None] * prior * root[:, None, :]
    inner = inner + SOLID * inner * np.eye(site.shape[1])
    halved = root[:, :, None] * prior
    posterior = prior - np.swapaxes(halved, 1, 2) @ np.linalg.solve(inner, halved)
    variance = np.maximum(np.einsum("nii->ni", posterior), SOLID * np.einsum("nii->ni", prior))
    mean = np.einsum("nij,nj->ni", posterior, pull)
    cavity = np.maximum(1 / variance - site, 1e-9 / variance)
    cavity_mean = (mean / variance - pull) / cavity
    seen, spread = _seen(cavity_mean, 1 / cavity, bounds, noise)
    new_site = np.maximum(1 / spread - cavity, 0.0)
    new_pull = seen / spread - cavity_mean * cavity
    return np.where(is_interval, new_site, site), np.where(is_interval, new_pull, pull)


def _seen(
    mean: Floats, variance: Floats, bounds: tuple[Floats, Floats], noise: Floats
) -> tuple[Floats, Floats]:
    """Give mean and variance of a normal figure once it was seen, with noise, within bounds."""
    total = np.sqrt(variance + noise)
    low, high = (bounds[0] - mean) / total, (bounds[1] - mean) / total
    # Work in the tail where the probabilities do not round to nought.
    flip = low > 0
    low, high = np.where(flip, -high, low), np.where(flip, -low, high)
    log_mass = log_ndtr(high) + np.log1p(
        -np.exp(np.minimum(log_ndtr(low) - log_ndtr(high), -1e-12))
    )
    at_low, at_high = (
        np.exp(np.minimum(-(edge**2) / 2 - log_mass, STEEPEST)) / np.sqrt(2 * np.pi)
        for edge in (low, high)
    )
    # A mean lies between the ends, also where they are so near that the difference is lost.
    first = np.clip(at_low - at_high, low, high)
    second = np.where(np.isinf(low), 0.0, np.nan_to_num(low) * at_low) - np.where(
        np.isinf(high), 0.0, np.nan_to_num(high) * at_high
    )
    sign = np.where(flip, -1.0, 1.0)
    found = mean + sign * variance / total * first
    shrunk = variance - variance**2 / total**2 * (first**2 - second)
    return found, np.clip(shrunk, 1e-6 * variance, variance)
