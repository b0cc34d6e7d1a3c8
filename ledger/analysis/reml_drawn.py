"""Variance components and fixed effects where something is known of them beforehand.

Each component has a scaled inverse chi-squared prior that counts as so many readings, and each
fixed effect a normal one. So what the readings cannot tell apart stays as it is usual, and the
covariance of the effects says how far it is open: nothing depends on a count of readings being
reached (Gelman et al., Bayesian Data Analysis, 3rd ed., 5.4 and 14.8).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ledger.analysis.reml_blocks import FloatArray, Solved, Stack
from ledger.analysis.reml_checks import check_design
from ledger.analysis.reml_likelihood import Likelihood, Point

MOST_STEPS = 40
MOST_HALVINGS = 20
FAR = 12.0
"""How far a component may go from its usual value, as a log."""
ENOUGH = 1e-7
SOLID = 1e-11
"""Share of a part's mean variance that is its readings' own, whatever the components."""


def components(stacks: Sequence[Stack], usual: FloatArray, worth: float) -> FloatArray:
    """Give the likeliest components (q,), each usual value counting as `worth` readings.

    The restricted likelihood is used, so the stacks' fixed effects must be told apart by the
    readings (`CannotFit` else). A component that is nought for every part stays as is usual.
    """
    scatter = check_design(stacks)
    likelihood = Likelihood(stacks, scatter, is_reml=True)
    told = np.array([any(stack.components[k].any() for stack in stacks) for k in range(len(usual))])
    prior = _Prior(usual / scatter**2, worth, told)
    log = np.log(prior.usual)
    point = _at(likelihood, log)
    if point is None:
        return usual
    value = prior.loss(log) - point.value
    for _ in range(MOST_STEPS):
        step, gain = _step(point, prior, log)
        if gain < ENOUGH:
            break
        for halvings in range(MOST_HALVINGS):
            tried = prior.bounded(log + 0.5**halvings * step)
            there = _at(likelihood, tried)
            if there is not None and prior.loss(tried) - there.value < value:
                break
        else:
            break
        log, point, value = tried, there, prior.loss(tried) - there.value
    return np.asarray(np.exp(log) * scatter**2)


def _at(likelihood: Likelihood, log: FloatArray) -> Point | None:
    """Give the model at log components; None where a variance is not positive to the last digit."""
    try:
        point = likelihood.at(np.exp(log))
    except np.linalg.LinAlgError:
        return None
    return point if np.isfinite(point.value) else None


class _Prior:
    """What is usual of the log components."""

    def __init__(self, usual: FloatArray, worth: float, told: FloatArray) -> None:
        self.usual, self.half, self.told = usual, worth / 2, told

    def loss(self, log: FloatArray) -> float:
        """Give minus the log density, without its constant."""
        return float(self.half * (log + self.usual / np.exp(log))[self.told].sum())

    def bounded(self, log: FloatArray) -> FloatArray:
        """Give the logs within reach of the usual ones."""
        centre = np.log(self.usual)
        return np.clip(log, centre - FAR, centre + FAR)


def _step(point: Point, prior: _Prior, log: FloatArray) -> tuple[FloatArray, float]:
    """Give a Newton step that leads down, and what it would gain."""
    theta, told = np.exp(log), prior.told
    slope = prior.half * (1 - prior.usual / theta) - point.gradient * theta
    bend = -point.hessian * np.outer(theta, theta)
    bend += np.diag(prior.half * prior.usual / theta - point.gradient * theta)
    bends, ways = np.linalg.eigh(bend[np.ix_(told, told)])
    along = ways.T @ slope[told]
    steep = np.maximum(np.abs(bends), 1e-3)
    step = np.zeros_like(log)
    step[told] = -ways @ (along / steep)
    longest = float(np.abs(step).max(initial=0.0))
    return step / max(longest / 2, 1.0), float(along @ (along / steep)) / 2


def effects(
    stacks: Sequence[Stack], theta: FloatArray, mean: FloatArray, deviation: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give the fixed effects (p,) and their covariance (p, p), known beforehand to be about
    `mean` (p,) with a standard deviation (p,), at components theta (q,).
    """
    scale = float(np.sqrt(np.mean([np.mean(stack.y**2) for stack in stacks]))) or 1.0
    precision, pull = np.diag((scale / deviation) ** 2), mean * scale / deviation**2
    for stack in stacks:
        known = theta / scale**2
        # Solid to the last digit: readings at the very same exposure may differ by their error.
        level = np.einsum("k,kiaa->ia", known, stack.components).mean(axis=1)
        solid = SOLID * level[:, None, None] * np.eye(stack.y.shape[1])
        parts = np.concatenate([stack.components, solid[None]])
        solved = Solved(Stack(stack.y / scale, stack.fixed, parts), np.append(known, 1.0))
        precision, pull = precision + solved.gram, pull + solved.moment
    size = np.sqrt(np.diag(precision))
    covariance = np.linalg.inv(precision / np.outer(size, size)) / np.outer(size, size)
    return np.asarray(covariance @ pull * scale), np.asarray(covariance * scale**2)
