"""The likelihood against a dense one, its derivatives against differences, and predictions."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import block_diag, null_space
from scipy.stats import multivariate_normal

from ledger.analysis.reml import Fit, Likelihood, Stack, Target, conditional, fit
from tests.analysis.pooled_parts import stacks_of, wearing_parts

seeds = st.integers(0, 2**32 - 1)


def random_stacks(seed: int) -> tuple[list[Stack], np.ndarray]:
    """Give parts of one to four readings with arbitrary symmetric components, and a theta."""
    rng = np.random.default_rng(seed)
    stacks = []
    for size in (1, 2, 4):
        roots = rng.normal(size=(3, 3, size, 2))
        blocks = np.concatenate(
            [roots @ roots.swapaxes(2, 3), np.eye(size) * np.ones((1, 3, 1, 1))]
        )
        stacks.append(Stack(rng.normal(size=(3, size)), rng.normal(size=(3, size, 2)), blocks))
    return stacks, rng.uniform(0.2, 2.0, 4)


def dense(stacks: list[Stack], theta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give y, X and V of all parts at once."""
    y = np.concatenate([s.y.ravel() for s in stacks])
    fixed = np.concatenate([s.fixed.reshape(-1, s.fixed.shape[2]) for s in stacks])
    blocks = [block for s in stacks for block in np.tensordot(theta, s.components, 1)]
    return y, fixed, block_diag(*blocks)


@given(seeds)
@settings(max_examples=25)
def test_reml_is_the_density_of_error_contrasts(seed: int):
    """The restricted likelihood is that of what fixed effects cannot explain (Harville 1974)."""
    stacks, theta = random_stacks(seed)
    y, fixed, variance = dense(stacks, theta)
    contrasts = null_space(fixed.T)
    density = multivariate_normal.logpdf(contrasts.T @ y, cov=contrasts.T @ variance @ contrasts)
    expected = density - 0.5 * np.linalg.slogdet(fixed.T @ fixed)[1]
    assert Likelihood(stacks, 1.0, is_reml=True).at(theta).value == pytest.approx(
        expected, abs=1e-6
    )


@given(seeds)
@settings(max_examples=25)
def test_maximum_likelihood_is_the_normal_density(seed: int):
    """The full likelihood is the Normal density at generalised least squares."""
    stacks, theta = random_stacks(seed)
    y, fixed, variance = dense(stacks, theta)
    point = Likelihood(stacks, 1.0, is_reml=False).at(theta)
    expected = multivariate_normal.logpdf(y, fixed @ point.beta, variance)
    assert point.value == pytest.approx(expected, abs=1e-6)


@given(seeds, st.booleans())
@settings(max_examples=25)
def test_derivatives_are_those_of_finite_differences(seed: int, is_reml: bool):
    """The slopes and bends of the likelihood, and of beta, match central differences."""
    stacks, theta = random_stacks(seed)
    likelihood = Likelihood(stacks, 1.0, is_reml=is_reml)
    here = likelihood.at(theta)
    for k, step in enumerate(1e-5 * np.eye(4)):
        above, below = likelihood.at(theta + step), likelihood.at(theta - step)
        assert here.gradient[k] == pytest.approx((above.value - below.value) / 2e-5, abs=1e-5)
        bend = (above.gradient - below.gradient) / 2e-5
        assert here.hessian[k] == pytest.approx(bend, rel=1e-5, abs=1e-5)
        drift = (above.beta - below.beta) / 2e-5
        assert here.beta_gradient[k] == pytest.approx(drift, rel=1e-5, abs=1e-6)


@given(seeds, st.booleans(), st.floats(1e-4, 1e4))
@settings(max_examples=15)
def test_the_unit_of_readings_only_scales_the_fit(seed: int, is_reml: bool, unit: float):
    """Readings in another unit give components in its square, and a shifted likelihood."""
    stacks, _ = random_stacks(seed)
    scaled = [Stack(unit * s.y, s.fixed, s.components) for s in stacks]
    one, other = (fit(each, np.ones(4), is_reml=is_reml) for each in (stacks, scaled))
    assert other.theta == pytest.approx(one.theta * unit**2, rel=1e-6, abs=1e-9 * unit**2)
    # As a whole: of two effects the smaller may be nearly nought.
    size = float(np.abs(one.beta).max())
    assert other.beta == pytest.approx(one.beta * unit, rel=0, abs=1e-6 * unit * size)
    shift = (sum(s.y.size for s in stacks) - 2 * is_reml) * np.log(unit)
    assert other.log_likelihood == pytest.approx(one.log_likelihood - shift, abs=1e-6)


@given(seeds, st.booleans())
@settings(max_examples=25)
def test_nothing_near_the_optimum_is_more_likely(seed: int, is_reml: bool):
    """No component can be moved, up or down or off zero, to a higher likelihood."""
    stacks, _ = random_stacks(seed)
    found = fit(stacks, np.ones(4), is_reml=is_reml)
    likelihood = Likelihood(stacks, 1.0, is_reml=is_reml)
    rng = np.random.default_rng(seed)
    for size in (1e-3, 1e-2, 0.1, 1.0):
        moved = np.abs(found.theta + size * rng.normal(size=4))
        assert likelihood.at(moved).value <= found.log_likelihood + 1e-6


def pooled(seed: int) -> tuple[list[Stack], list[Target], Fit]:
    """Give simulated lines, each part's intercept and slope as targets, and the fit."""
    part, x, y = wearing_parts(seed, 25)
    design = np.stack([np.ones_like(x), x], axis=1)
    stacks = stacks_of(part, y, design, design)
    pieces = np.array(
        [[[1, 0], [0, 0]], [[0, 1], [1, 0]], [[0, 0], [0, 1]], [[0, 0], [0, 0]]], float
    )
    targets = [
        Target(np.eye(2)[None], (pieces @ s.fixed[0].T)[:, None], pieces[:, None]) for s in stacks
    ]
    return stacks, targets, fit(stacks, np.ones(4), covariances=[(0, 1, 2)])


def test_predictions_solve_hendersons_equations():
    """Means and errors are those of the mixed model equations (Henderson 1975), solved whole."""
    stacks, targets, found = pooled(2)
    between = np.linalg.inv(found.theta[[0, 1, 1, 2]].reshape(2, 2))
    y, fixed, _ = dense(stacks, found.theta)
    own = block_diag(*(s.fixed[0] for s in stacks))
    rows = np.hstack([fixed, own])
    prior = block_diag(np.zeros((2, 2)), *[between] * len(stacks))
    inverse = np.linalg.inv(rows.T @ rows / found.theta[3] + prior)
    solved = inverse @ rows.T @ y / found.theta[3]
    for number, (stack, target) in enumerate(zip(stacks, targets, strict=True)):
        mean, error = conditional(stack, target, found, is_theta_known=True)
        picks = np.zeros((2, len(solved)))
        picks[:, :2] = np.eye(2)
        picks[:, 2 + 2 * number : 4 + 2 * number] = np.eye(2)
        assert mean[0] == pytest.approx(picks @ solved, rel=1e-6)
        assert error[0] == pytest.approx(picks @ inverse @ picks.T, rel=1e-6, abs=1e-9)


def test_unknown_components_add_what_moving_them_moves():
    """Errors grow by twice the spread of predictions over the components' own uncertainty."""
    stacks, targets, found = pooled(8)
    likelihood = Likelihood(stacks, 1.0, is_reml=True)

    def means_at(theta: np.ndarray) -> np.ndarray:
        moved = replace(found, theta=theta, beta=likelihood.at(theta).beta)
        return conditional(stacks[3], targets[3], moved)[0][0]

    steps = 1e-6 * np.eye(4)
    moves = [(means_at(found.theta + s) - means_at(found.theta - s)) / 2e-6 for s in steps]
    added = np.transpose(moves) @ found.theta_covariance @ np.array(moves)
    whole = conditional(stacks[3], targets[3], found)[1][0]
    known = conditional(stacks[3], targets[3], found, is_theta_known=True)[1][0]
    assert whole - known == pytest.approx(2 * added, rel=1e-4, abs=1e-9)
