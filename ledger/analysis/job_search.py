"""Where the posterior of the spreads has its top, and how sharp it is there.

By Newton steps over six figures, the bend taken from the slopes; few and small steps, where a
general optimiser spends its time on itself.
"""

from __future__ import annotations

import numpy as np

from ledger.analysis.job_likelihood import LIKELY, Likelihood
from ledger.analysis.life_bounds import FloatArray

LEAST, MOST = float(np.log(1e-4)), float(np.log(3.0))
STEP = 1e-3
FARTHEST = 1.0
"""No log spread moves farther in one go."""
MOST_STEPS = 60
ENOUGH = 1e-6
"""A step that promises less log likelihood than this is not worth it."""
LOOSEST = 1.0
"""A log spread is never taken as less sure than this (a factor of 2.7)."""


def best_spreads(of: Likelihood, start: FloatArray | None = None) -> tuple[FloatArray, FloatArray]:
    """Give the log spreads (6,) at the top, and their covariance (6, 6) by its curvature."""
    at = np.log(LIKELY) if start is None else start
    value, slopes = of.posterior(at)
    for _ in range(MOST_STEPS):
        bends, ways = _bends(of, at, slopes)
        step = np.clip(
            (ways / np.maximum(np.abs(bends), 0.1)) @ (ways.T @ slopes), -FARTHEST, FARTHEST
        )
        if float(step @ slopes) < ENOUGH:
            break
        at, value, slopes = _moved(of, at, value, step)
    bends, ways = _bends(of, at, slopes)
    return at, np.asarray((ways / np.maximum(bends, 1 / LOOSEST**2)) @ ways.T)


def _moved(
    of: Likelihood, at: FloatArray, value: float, step: FloatArray
) -> tuple[FloatArray, float, FloatArray]:
    """Give the place the step leads to, cut in half until it is higher."""
    for _ in range(20):
        there = np.clip(at + step, LEAST, MOST)
        higher, slopes = of.posterior(there)
        if higher >= value:
            return there, higher, slopes
        step = step / 2
    return at, *of.posterior(at)


def _bends(of: Likelihood, at: FloatArray, slopes: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Give the eigenvalues (6,) of minus the second derivatives, and their directions (6, 6)."""
    moved = [of.posterior(at + step)[1] for step in STEP * np.eye(len(at))]
    bend = (slopes - np.array(moved)) / STEP
    bends, ways = np.linalg.eigh((bend + bend.T) / 2)
    return bends, ways
