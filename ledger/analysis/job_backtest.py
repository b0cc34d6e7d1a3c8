"""Were the forecasts of minutes right? Fit on the past, foretell the next jobs, compare.

The jobs are cut into folds by when they were closed. Each fold's jobs are foretold by a fit on
what was closed before the fold began, from the tasks and planned minutes of each job, and scored
on the minutes of those tasks. Beside it stand two forecasts anybody can make: the planned minutes
as they are, and those times the shop's median ratio so far.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from ledger.analysis.job_cells import places
from ledger.analysis.job_columns import OF_JOB, Worked
from ledger.analysis.job_fit import JobTimes, fit_sums
from ledger.analysis.job_likelihood import SPREADS
from ledger.analysis.job_sums import JobSums, sums_of
from ledger.analysis.life_bounds import FloatArray
from ledger.analysis.losses import pinball

FOLDS = 8
FIRST_SHARE = 0.2
"""The earliest share of the jobs is only learned from."""
MOST_IN_FOLD = 500
"""Of a fold with more jobs, so many are scored, drawn at random."""
DRAWS = 399
SHARES = (0.5, 0.8)
FEWEST = 30
"""Jobs to learn from, at the least."""


@dataclass(frozen=True, slots=True)
class FoldScore:
    """One step of the rolling origin; times as `closed_at` was given."""

    fitted_until: float
    """Jobs closed before this were learned from."""
    scored_until: float
    """Jobs closed from then to this were foretold."""
    count_fitted: int
    count_scored: int
    share_under_p50: float
    share_under_p80: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """How the forecasts did, each job foretold from what was closed before its fold began."""

    folds: tuple[FoldScore, ...]
    count: int
    """Jobs scored."""
    share_under_p50: float
    """Share that took no more than P50 (half of a job that took just that, to the minute)."""
    share_under_p80: float
    loss: float
    """Mean pinball loss in minutes, of P50 and P80 together."""
    loss_planned: float
    """The same of the planned minutes as they are, taken for both."""
    loss_median_ratio: float
    """The same of the planned minutes times the shop's median ratio so far."""


def backtest(work: Worked, *, folds: int = FOLDS, seed: int = 0) -> Calibration | None:
    """Score forecasts of each next fold of jobs in time; None where there are too few.

    A job counts with its tasks whose minutes were planned; one without any is not scored.
    """
    told = work.with_plan()
    closed = told.closed_at
    if len(closed) < 2 * FEWEST:
        return None
    cuts = np.quantile(closed, np.linspace(FIRST_SHARE, 1, folds + 1))
    rng = np.random.default_rng(seed)
    known = told.kept(told.closed_at < cuts[0])
    sums, ratios, start = sums_of(known), [_ratios(known)], None
    scores, parts = [], []
    for fold, (begin, end) in enumerate(itertools.pairwise(cuts)):
        is_last = fold == folds - 1
        is_next = (told.closed_at >= begin) & ((told.closed_at < end) | is_last)
        coming = told.kept(is_next)
        if sums.count_jobs >= FEWEST and coming.count_jobs:
            fitted = fit_sums(sums, start=start)
            start = fitted.log_spreads
            scored = _scored(coming, fitted, float(np.median(np.concatenate(ratios))), rng)
            scores.append(_fold(float(begin), float(end), sums, scored))
            parts.append(scored)
        sums = sums + sums_of(coming)
        ratios.append(_ratios(coming))
    return _calibration(tuple(scores), np.concatenate(parts)) if parts else None


def _totals(work: Worked) -> tuple[FloatArray, FloatArray]:
    """Give the actual and planned minutes (J,) of jobs that all have tasks."""
    actual = np.bincount(work.job, weights=work.actual, minlength=work.count_jobs)
    planned = np.bincount(work.job, weights=work.planned, minlength=work.count_jobs)
    return actual.astype(np.float64), planned.astype(np.float64)


def _ratios(work: Worked) -> FloatArray:
    actual, planned = _totals(work)
    return np.asarray(actual / planned)


def _scored(
    coming: Worked, fitted: JobTimes, median_ratio: float, rng: np.random.Generator
) -> FloatArray:
    """Give rows of (under P50, under P80, our loss, that of the plan, of the median ratio)."""
    if coming.count_jobs > MOST_IN_FOLD:
        chosen = np.zeros(coming.count_jobs, dtype=np.bool_)
        chosen[rng.choice(coming.count_jobs, MOST_IN_FOLD, replace=False)] = True
        coming = coming.kept(chosen)
    actual, planned = _totals(coming)
    quantiles = _foretold(coming, fitted, rng)
    under = [(actual < level) + 0.5 * (actual == level) for level in quantiles]
    losses = [
        _loss(actual, *quantiles),
        _loss(actual, planned, planned),
        _loss(actual, planned * median_ratio, planned * median_ratio),
    ]
    return np.column_stack([*under, *losses])


def _loss(actual: FloatArray, middle: FloatArray, high: FloatArray) -> FloatArray:
    each = [
        pinball(actual, level, share) for level, share in zip((middle, high), SHARES, strict=True)
    ]
    return np.asarray((each[0] + each[1]) / 2)


def _foretold(coming: Worked, fitted: JobTimes, rng: np.random.Generator) -> FloatArray:
    """Give P50 and P80 (2, jobs) of every job, as `forecast` does, many jobs at a time."""
    begins = places(fitted.levels)
    effects = fitted.draw_effects(DRAWS, rng)
    spreads = fitted.draw_spreads(DRAWS, rng)
    levels = [effects[:, begins[name] + coming.codes[name]] for name in OF_JOB]
    of_job = effects[:, :1] + levels[0] + levels[1] + levels[2]
    of_job += spreads[:, [SPREADS.index("job")]] * rng.standard_normal(of_job.shape)
    of_row = effects[:, begins["task"] + coming.codes["task"]]
    of_row += spreads[:, [SPREADS.index("row")]] * rng.standard_normal(of_row.shape)
    minutes = coming.planned * np.exp(of_job[:, coming.job] + of_row)
    order = np.argsort(coming.job, kind="stable")
    firsts = np.searchsorted(coming.job[order], np.arange(coming.count_jobs))
    totals = np.add.reduceat(minutes[:, order], firsts, axis=1)
    ranked = np.sort(totals, axis=0)
    # the k-th of n draws has a chance of k / (n + 1) above it, however few draws
    return np.stack([ranked[round(share * (DRAWS + 1)) - 1] for share in SHARES])


def _fold(begin: float, end: float, sums: JobSums, scored: FloatArray) -> FoldScore:
    p50, p80 = (float(scored[:, column].mean()) for column in (0, 1))
    return FoldScore(begin, end, sums.count_jobs, len(scored), p50, p80)


def _calibration(folds: tuple[FoldScore, ...], scored: FloatArray) -> Calibration:
    return Calibration(folds, len(scored), *(float(mean) for mean in scored.mean(axis=0)))
