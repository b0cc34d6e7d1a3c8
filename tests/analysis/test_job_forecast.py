"""The minutes of a planned job: against closed forms, and what a price at a risk means."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri

from ledger.analysis.job_time import Plan, PlannedTask, fit, forecast, price_at_risk
from ledger.analysis.unfit import CannotFit
from tests.analysis.job_shop import Law, shop

LAW = Law()
FULL = Plan(
    (PlannedTask("drivetrain", 100.0), PlannedTask("brakes", 45.0)), "full", "city", "unknown"
)


def sum_of_log_normals(mu, sigma, shared=0.0):
    """Give mu and sigma of the log-normal that is about the sum of log-normals.

    `shared` is the variance all logarithms have in common (Lo, J. Applied Mathematics 2012).
    """
    mean = np.exp(np.asarray(mu) + np.asarray(sigma) ** 2 / 2)
    covariance = np.where(np.eye(len(mean)), np.outer(sigma, sigma), shared)
    variance = mean @ covariance @ mean / mean.sum() ** 2
    return np.log(mean.sum()) - variance / 2, np.sqrt(variance)


def test_the_closed_form_used_here_is_the_published_one():
    """Two log-normals of 110 and 100 with sigma 0.25 and 0.15: 5.3576474 and 0.1499077."""
    # CRAN package lognorm, vignette on sums of log-normals (read)
    found = sum_of_log_normals(np.log([110, 100]), np.array([0.25, 0.15]))
    assert found == pytest.approx((5.3576474, 0.1499077), abs=5e-8)


@pytest.fixture(scope="module")
def many():
    """A shop of 3,000 jobs, so that little is unsure but the next job itself."""
    return fit(shop(np.random.default_rng(11), 3000, LAW))


def test_one_task_is_log_normal_with_the_laws_own_figures(many):
    """P50 and P80 of a single task are those of the law, within 3 %."""
    seen = forecast(many, Plan((PlannedTask("brakes", 45.0),), "overhaul", "tourer", "new"))
    middle, spread = LAW.drift("overhaul", "new"), np.hypot(LAW.job_spread, LAW.row_spread)
    for share in (0.2, 0.5, 0.8, 0.95):
        want = 45 * np.exp(middle + ndtri(share) * spread)
        assert seen.quantile(share) == pytest.approx(want, rel=0.03)


def test_several_tasks_are_as_the_closed_form_has_it(many):
    """P10 to P90 of four tasks within 2 % of Lo's sum of log-normals."""
    planned = {"inspection": 20.0, "drivetrain": 100.0, "brakes": 45.0, "bearings": 120.0}
    tasks = tuple(PlannedTask(task, minutes) for task, minutes in planned.items())
    seen = forecast(many, Plan(tasks, "full", "city", "unknown"))
    drift = [
        np.log(many.drift(tier="full", bike_kind="city", age_class="unknown", task=task).ratio)
        for task in planned
    ]
    of_job, of_row = many.spread("job"), many.spread("row")
    mu = np.log(list(planned.values())) + drift
    middle, spread = sum_of_log_normals(mu, np.full(4, np.hypot(of_job, of_row)), of_job**2)
    for share in (0.1, 0.5, 0.8, 0.9):
        want = float(np.exp(middle + ndtri(share) * spread))
        assert seen.quantile(share) == pytest.approx(want, rel=0.02)


def test_jobs_that_come_are_under_p50_and_p80_as_often_as_it_says(many):
    """Of 20,000 such jobs by the law, about half and eight in ten take no more."""
    rng = np.random.default_rng(12)
    own = rng.normal(0, LAW.job_spread, (20_000, 1))
    ratio = np.exp(LAW.drift("full", "unknown") + own + rng.normal(0, LAW.row_spread, (20_000, 2)))
    actual = (ratio * [100.0, 45.0]).sum(axis=1)
    seen = forecast(many, FULL)
    assert np.mean(actual <= seen.quantile(0.5)) == pytest.approx(0.5, abs=0.03)
    assert np.mean(actual <= seen.quantile(0.8)) == pytest.approx(0.8, abs=0.03)


def test_what_is_not_told_of_the_bike_makes_it_less_sure():
    """An age that matters and is not told: wider than either age told."""
    law = Law(age={"new": 0.0, "unknown": 0.7})
    fitted = fit(shop(np.random.default_rng(2), 1500, law))
    tasks = (PlannedTask("drivetrain", 100.0),)
    told, untold = (forecast(fitted, Plan(tasks, "full", "city", age)) for age in ("unknown", None))
    wide = [np.log(seen.quantile(0.9) / seen.quantile(0.1)) for seen in (told, untold)]
    assert wide[1] > 1.2 * wide[0]
    share = 0.3 * np.exp(0) + 0.7 * np.exp(0.7)
    assert untold.draws.mean() / told.draws.mean() == pytest.approx(share / np.exp(0.7), rel=0.05)


def test_few_jobs_make_a_wider_forecast_than_many(many):
    """Ten jobs leave more open than three thousand."""
    few = forecast(fit(shop(np.random.default_rng(11), 10, LAW)), FULL)
    known = forecast(many, FULL)
    wide = [seen.quantile(0.9) / seen.quantile(0.1) for seen in (few, known)]
    assert wide[0] > 1.1 * wide[1]


def test_a_forecast_says_how_many_jobs_it_rests_on():
    """All jobs, those alike in what was told, and how often each task was done."""
    work = shop(np.random.default_rng(4), 200)
    seen = forecast(fit(work), FULL, draws=100)
    names = {name: np.array(work.levels[name]) for name in work.levels}
    alike = np.ones(work.count_jobs, dtype=bool)
    for name, level in (("tier", "full"), ("bike_kind", "city"), ("age_class", "unknown")):
        alike &= names[name][work.codes[name]] == level
    assert (seen.count_jobs, seen.count_alike) == (200, alike.sum())
    brakes = int(np.sum(names["task"][work.codes["task"]] == "brakes"))
    assert seen.count_of_task["brakes"] == brakes
    assert forecast(fit(work), Plan(FULL.tasks, "tandem"), draws=100).count_alike == 0


def test_a_task_without_minutes_takes_what_it_usually_takes():
    """Its P50 is the shop's own median, and its spread that of the task's minutes."""
    work = shop(np.random.default_rng(13), 3000, Law(age={"new": 0, "unknown": 0}), is_whole=True)
    fitted = fit(work)
    seen = forecast(fitted, Plan((PlannedTask("bearings"),)))
    took = work.actual[work.codes["task"] == work.levels["task"].index("bearings")]
    assert seen.quantile(0.5) == pytest.approx(np.median(took), rel=0.02)
    assert seen.quantile(0.8) == pytest.approx(np.quantile(took, 0.8), rel=0.04)
    assert seen.planned_minutes == pytest.approx(fitted.usual_minutes("bearings"))
    assert seen.usual_tasks == ("bearings",)


def test_an_old_bike_takes_longer_at_a_task_nobody_planned():
    """What ages add shows there too."""
    law = Law(age={"new": 0.0, "unknown": 0.5})
    fitted = fit(shop(np.random.default_rng(14), 2000, law, is_whole=True))
    plan = (PlannedTask("bearings"),)
    new, old = (
        forecast(fitted, Plan(plan, age_class=age)).quantile(0.5) for age in ("new", "unknown")
    )
    assert old / new == pytest.approx(np.exp(0.5), rel=0.06)


def test_the_price_at_a_risk_is_short_with_just_that_chance(many):
    """At 56.00 an hour and a risk of 0.2: enough in 80 % of the draws, a unit less is not."""
    seen = forecast(many, FULL)
    price = price_at_risk(seen, 5600, 0.2)
    assert price == pytest.approx(seen.quantile(0.8) * 5600 / 60, abs=1)
    assert price >= seen.quantile(0.8) * 5600 / 60
    assert seen.chance_price_short(price, 5600) == pytest.approx(0.2, abs=1e-3)
    assert seen.chance_price_short(0, 5600) == 1
    assert price_at_risk(seen, 5600, 0.5) < price < price_at_risk(seen, 5600, 0.05)


def test_the_same_seed_gives_the_same_minutes(many):
    """And another seed others, close by."""
    one, same, other = (forecast(many, FULL, seed=seed).quantile(0.8) for seed in (1, 1, 2))
    assert one == same
    assert one != other and one == pytest.approx(other, rel=0.02)


@pytest.mark.parametrize(
    ("plan", "message"),
    [
        (Plan(()), "tasks: there is none"),
        (Plan((PlannedTask("brakes", 0.0),)), "brakes has 0"),
        (Plan((PlannedTask("wheels"),)), "was never done"),
    ],
)
def test_a_plan_of_nothing_is_refused(many, plan, message):
    """No tasks, no minutes and a task nobody knows are named."""
    with pytest.raises(CannotFit, match=message):
        forecast(many, plan)
