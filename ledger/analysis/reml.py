"""Mixed models of many small independent parts, by restricted or full maximum likelihood.

The readings y of one part are Normal with mean X beta and variance V = sum_k theta_k V_k; the
fixed effects beta and the variance components theta are common to all parts. Harville (1977),
"Maximum likelihood approaches to variance component estimation", JASA 72, gives the likelihood.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ledger.analysis.reml_blocks import FloatArray, Stack
from ledger.analysis.reml_checks import check_design, check_stacks, check_start
from ledger.analysis.reml_likelihood import Likelihood, Point
from ledger.analysis.reml_search import Found, best_root
from ledger.analysis.reml_squares import Squares, squares_of
from ledger.analysis.reml_start import first_guess

__all__ = ["Fit", "FloatArray", "Likelihood", "Stack", "Target", "conditional", "fit"]


@dataclass(frozen=True, slots=True)
class Fit:
    """The fitted model: p fixed effects, q variance components."""

    theta: FloatArray
    """(q,) variance components, in squared units of y over those of the component."""
    beta: FloatArray
    """(p,) fixed effects."""
    beta_covariance: FloatArray
    """(p, p) covariance of the fixed effects, the components taken as known."""
    log_likelihood: float
    """With every constant, so that it equals what statsmodels and lme4 print."""
    count_evaluations: int
    """Of the likelihood over all parts."""
    is_converged: bool
    theta_covariance: FloatArray
    """(q, q) covariance of the components, from the observed information; a component at the
    edge of what is allowed is taken as known."""
    beta_gradient: FloatArray
    """(q, p) how the fixed effects change with each component."""


@dataclass(frozen=True, slots=True)
class Target:
    """What is to be foretold of each part of one stack: m figures a part, with their model."""

    fixed: FloatArray
    """(N, m, p) the design of the targets; zero for what a part adds to the common line."""
    cross: FloatArray
    """(q, N, m, n) covariance of targets and readings is sum_k theta_k cross[k]."""
    prior: FloatArray
    """(q, N, m, m) variance of the targets before any reading is sum_k theta_k prior[k]."""


def fit(
    stacks: Sequence[Stack],
    start: FloatArray,
    *,
    is_reml: bool = True,
    covariances: Sequence[tuple[int, int, int]] = (),
    is_thorough: bool = True,
) -> Fit:
    """Fit the fixed effects and variance components to every part of every stack.

    `start` (q,) is a first guess of the components; only its proportions matter. A triple
    (i, ij, j) in `covariances` says that components i and j are variances and ij is their
    covariance, kept positive semidefinite; every other component is kept at zero or above, and
    may end at zero. A component that is zero for every part stays at zero.

    A variance of 1e-10 of that about the ordinary least-squares fit is added to every reading,
    so that readings without any scatter have a likelihood too.

    A thorough search starts from several places where readings are few or a component ends at
    zero; one that is not is several times quicker, and may end on a lower top.

    Raises `CannotFit` for shapes that do not agree, figures that are not finite, a fixed effect
    that follows from the others, and too few readings.
    """
    check_stacks(stacks)
    start = check_start(stacks, start, covariances)
    scatter = check_design(stacks)
    likelihood = Likelihood(stacks, scatter, is_reml=is_reml)
    squares = squares_of(stacks, covariances)
    guess = first_guess(stacks, squares, squares.root(start), is_reml=is_reml)
    found = best_root(likelihood, squares, guess, is_thorough=is_thorough)
    return _as_fit(likelihood, squares, found)


def _as_fit(likelihood: Likelihood, squares: Squares, found: Found) -> Fit:
    """Bring the optimum back to the units of y."""
    at = found.point
    variance = likelihood.scale**2
    return Fit(
        theta=at.theta * variance,
        beta=at.beta * likelihood.scale,
        beta_covariance=at.beta_covariance * variance,
        log_likelihood=likelihood.in_units_of_y(at.value),
        count_evaluations=likelihood.count_evaluations,
        is_converged=found.is_converged,
        theta_covariance=_spread(at, squares, found.root) * variance**2,
        beta_gradient=at.beta_gradient / likelihood.scale,
    )


def _spread(at: Point, squares: Squares, root: FloatArray) -> FloatArray:
    """Give the covariance of theta by way of the root, where an optimum at zero is interior."""
    slopes = squares.slopes(root)
    bends, ways = np.linalg.eigh(squares.bent(root, at.gradient, at.hessian))
    is_bent = bends > 1e-9 * max(float(bends.max()), 1e-300)
    reach = slopes @ ways[:, is_bent]
    return np.asarray((reach / bends[is_bent]) @ reach.T)


def conditional(
    stack: Stack, target: Target, fitted: Fit, *, is_theta_known: bool = False
) -> tuple[FloatArray, FloatArray]:
    """Give the best linear unbiased predictions of a stack's targets, and their error.

    The means are (N, m); the covariances (N, m, m) are of prediction minus truth. They hold
    the uncertainty of the fixed effects (Henderson 1975, Biometrics 31) and, unless
    `is_theta_known`, that of the components to first order (Kackar & Harville 1984, JASA 79),
    twice: once for itself, once since errors worked out at fitted components come out too small
    by as much (Prasad & Rao 1990, JASA 85; Datta & Lahiri 2000, Statistica Sinica 10).
    """
    cross = np.tensordot(fitted.theta, target.cross, 1)
    variance = _solid(np.tensordot(fitted.theta, stack.components, 1))
    weights = _turned(np.asarray(np.linalg.solve(variance, _turned(cross))))
    left = stack.y - stack.fixed @ fitted.beta
    mean = target.fixed @ fitted.beta + np.einsum("imn,in->im", weights, left)
    open_fixed = target.fixed - weights @ stack.fixed
    prior = np.tensordot(fitted.theta, target.prior, 1)
    error = prior - weights @ _turned(cross)
    error += open_fixed @ fitted.beta_covariance @ _turned(open_fixed)
    if not is_theta_known:
        pulled = np.linalg.solve(variance, left[:, :, None])
        moves = (target.cross - weights @ stack.components) @ pulled
        moves = moves[..., 0] + np.einsum("imp,kp->kim", open_fixed, fitted.beta_gradient)
        error += 2 * np.einsum("kim,kl,lij->imj", moves, fitted.theta_covariance, moves)
    return mean, error


def _turned(matrices: FloatArray) -> FloatArray:
    """Give the transpose of every matrix of a stack."""
    return matrices.transpose(0, 2, 1)


def _solid(variance: FloatArray) -> FloatArray:
    """Give variances that can be inverted, also where the scatter has run out."""
    size = variance.shape[-1]
    level = np.trace(variance, axis1=1, axis2=2) / size
    floor = 1e-12 * np.where(level > 0, level, 1.0)
    return np.asarray(variance + floor[:, None, None] * np.eye(size))
