"""The sums that the model of minutes is fitted from, and the likelihood worked out of them."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.optimize import approx_fprime
from scipy.stats import multivariate_normal

from ledger.analysis.job_cells import MOST_TASKS
from ledger.analysis.job_columns import FACTORS, OF_JOB, worked
from ledger.analysis.job_likelihood import LIKELY, MEAN_SPREAD, Likelihood
from ledger.analysis.job_sums import LARGEST_RATIO, LONGEST, sums_of
from ledger.analysis.life_bounds import BadLives
from ledger.analysis.unfit import CannotFit
from tests.analysis.job_shop import shop

SPREADS = np.array([0.1, 0.07, 0.2, 0.05, 0.15, 0.3])


def _dense(work, spreads):
    """Give log(actual / planned) of every row, and its whole covariance, written out."""
    y = np.log(work.actual / work.planned)
    codes = [work.codes[name][work.job] for name in OF_JOB] + [work.codes["task"], work.job]
    variance = np.full((len(y), len(y)), MEAN_SPREAD**2) + spreads[-1] ** 2 * np.eye(len(y))
    for code, spread in zip(codes, spreads[:-1], strict=True):
        variance += spread**2 * (code[:, None] == code)
    return y, variance


@pytest.mark.parametrize("seed", range(4))
def test_the_likelihood_from_sums_is_that_of_the_whole_covariance(seed):
    """Forty jobs written out as one Normal of a hundred minutes: scipy's density, to the digit."""
    work = shop(np.random.default_rng(seed), 40)
    y, variance = _dense(work, SPREADS)
    want = multivariate_normal(np.zeros(len(y)), variance).logpdf(y)
    assert Likelihood(sums_of(work)).effects(SPREADS).log_likelihood == pytest.approx(want)


def test_the_effects_are_the_best_linear_predictions_of_the_whole_covariance():
    """Means and covariances of all effects as by the textbook's formula on every row."""
    work = shop(np.random.default_rng(9), 40)
    y, variance = _dense(work, SPREADS)
    codes = [work.codes[name][work.job] for name in OF_JOB] + [work.codes["task"]]
    shared = [np.ones((len(y), 1))]
    prior = [MEAN_SPREAD**2]
    for name, code, spread in zip(FACTORS, codes, SPREADS, strict=False):
        shared.append((code[:, None] == np.arange(len(work.levels[name]))).astype(float))
        prior += [spread**2] * len(work.levels[name])
    cross = np.diag(prior) @ np.concatenate(shared, axis=1).T
    found = Likelihood(sums_of(work)).effects(SPREADS)
    assert found.mean == pytest.approx(cross @ np.linalg.solve(variance, y), abs=1e-9)
    want = np.diag(prior) - cross @ np.linalg.solve(variance, cross.T)
    assert found.covariance == pytest.approx(want, abs=1e-9)


def test_the_slopes_are_those_of_the_posterior():
    """By small steps, at three places."""
    likelihood = Likelihood(sums_of(shop(np.random.default_rng(2), 60)))
    for place in (SPREADS, LIKELY, SPREADS[::-1]):
        at = np.log(place)
        want = approx_fprime(at, lambda moved: likelihood.posterior(moved)[0], 1e-6)
        assert likelihood.posterior(at)[1] == pytest.approx(want, rel=1e-3, abs=1e-3)


def test_sums_of_parts_added_are_those_of_the_whole():
    """Early and late jobs apart, then added: every figure as of all jobs together."""
    work = shop(np.random.default_rng(4), 80, is_whole=True)
    is_early = work.closed_at < 33
    both = sums_of(work.kept(is_early)) + sums_of(work.kept(~is_early))
    whole = sums_of(work)
    assert both.levels == whole.levels
    for field in fields(whole)[1:]:
        assert getattr(both, field.name) == pytest.approx(getattr(whole, field.name)), field.name


def test_sums_of_other_levels_cannot_be_added():
    """Two shops with other kinds of bike do not add."""
    one = sums_of(shop(np.random.default_rng(4), 20))
    other = replace(one, levels={**one.levels, "bike_kind": ("tandem",)})
    with pytest.raises(CannotFit, match="levels"):
        one + other


def _one_job(tasks, actual, planned):
    return worked(
        tier=["quick"],
        bike_kind=[None],
        age_class=["new"],
        job=np.zeros(len(tasks), dtype=np.int64),
        task=tasks,
        actual_minutes=actual,
        planned_minutes=planned,
    )


def test_a_clock_left_running_counts_as_five_times_the_plan():
    """900 minutes of 20 are pulled in and counted; 100 are just that and not counted."""
    sums = sums_of(_one_job(["a", "b"], [900, 100], [20, 20]))
    assert sums.count_pulled_in == 1
    assert sums.rows_square == pytest.approx(2 * np.log(LARGEST_RATIO) ** 2)


def test_a_task_nobody_planned_counts_for_its_usual_minutes_alone():
    """It is in the minutes of the task, not in the ratios; one of no minutes is nowhere."""
    sums = sums_of(_one_job(["a", "b", "c"], [30, 40, 0], [20, None, 10]))
    assert (sums.count_rows, sums.count_jobs) == (1, 1)
    assert sums.minutes.sum(axis=1).tolist() == [1, 1, 0]
    assert sums.minutes[1, 40] == 1


def test_the_first_tasks_of_a_huge_job_count():
    """Of thirty tasks planned for 10 minutes that took 20, 24 are in the sums."""
    sums = sums_of(_one_job(["a"] * 30, [20] * 30, [10] * 30))
    assert (sums.count_rows, sums.jobs[MOST_TASKS]) == (MOST_TASKS, 1)
    assert sums.jobs_square[MOST_TASKS] == pytest.approx((MOST_TASKS * np.log(2)) ** 2)


def test_more_than_a_day_counts_as_a_day():
    """Minutes of one task are kept up to 1,440."""
    assert sums_of(_one_job(["a"], [5000], [20])).minutes[0, LONGEST] == 1


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"job": np.array([1])}, "job"),
        ({"actual_minutes": [-1]}, "actual_minutes"),
        ({"planned_minutes": [-5]}, "planned_minutes"),
        ({"task": ["a", "b"]}, "task"),
        ({"bike_kind": ["city", "city"]}, "bike_kind"),
        ({"tier": [3.5]}, "tier"),
    ],
)
def test_columns_that_are_no_jobs_are_refused(change, message):
    """A job that is not there, minutes below 0 and columns that disagree are named."""
    columns = {
        "tier": ["quick"],
        "bike_kind": ["city"],
        "age_class": ["new"],
        "job": np.array([0]),
        "task": ["a"],
        "actual_minutes": [10],
        "planned_minutes": [10],
    }
    with pytest.raises(BadLives, match=message):
        worked(**{**columns, **change})
