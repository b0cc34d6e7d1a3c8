"""The model of minutes: the law of simulated shops is recovered, few jobs are pooled."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf

from ledger.analysis.job_columns import worked
from ledger.analysis.job_time import fit, fit_sums, sums_of
from ledger.analysis.unfit import CannotFit
from tests.analysis.job_shop import PLANNED, Law, shop

NO_JOBS = {
    "tier": [],
    "bike_kind": [],
    "age_class": [],
    "job": np.array([], dtype=np.int64),
    "task": [],
    "actual_minutes": [],
    "planned_minutes": [],
}


def test_the_law_is_within_its_intervals_as_often_as_they_say():
    """Of 60 shops of 400 jobs, every tier and age: 75 to 85 % of the 80 % intervals hold."""
    law, held = Law(), []
    for seed in range(60):
        fitted = fit(shop(np.random.default_rng(seed), 400, law))
        for tier in law.tier:
            for age in law.age:
                found = fitted.drift(tier=tier, age_class=age)
                held.append(found.low <= np.exp(law.drift(tier, age)) <= found.high)
    assert 0.75 <= np.mean(held) <= 0.85


def test_what_the_tasks_of_a_job_share_is_recovered():
    """In 40 shops the spreads come out near the truth, and 80 % intervals of the share hold it."""
    law, shares, spreads = Law(), [], []
    truth = law.job_spread**2 / (law.job_spread**2 + law.row_spread**2)
    for seed in range(40):
        fitted = fit(shop(np.random.default_rng(seed), 400, law))
        share = fitted.job_share()
        shares.append(share.low <= truth <= share.high)
        spreads.append([fitted.spread("job"), fitted.spread("row")])
    assert 0.7 <= np.mean(shares) <= 0.95
    assert np.mean(spreads, axis=0) == pytest.approx([law.job_spread, law.row_spread], rel=0.03)


def test_tasks_that_share_nothing_are_found_to_share_little():
    """Each task on its own: the share of the variance in common is under 5 %."""
    fitted = fit(shop(np.random.default_rng(1), 2000, Law(job_spread=0.0)))
    assert fitted.job_share().ratio < 0.05
    assert fitted.spread("row") == pytest.approx(0.25, rel=0.03)


def test_the_spreads_of_many_jobs_are_those_of_statsmodels():
    """With 1,500 jobs the priors give way: MixedLM's job and row spreads, within 2 %."""
    work = shop(np.random.default_rng(6), 1500)
    fitted = fit(work)
    columns = {name: work.codes[name][work.job] for name in ("tier", "bike_kind", "age_class")}
    frame = pd.DataFrame({"y": np.log(work.actual / work.planned), "job": work.job, **columns})
    frame["task"] = work.codes["task"]
    fixed = "y ~ C(tier) + C(bike_kind) + C(age_class) + C(task)"
    mixed = smf.mixedlm(fixed, frame, groups="job").fit(reml=True)
    assert fitted.spread("job") == pytest.approx(float(mixed.cov_re.iloc[0, 0]) ** 0.5, rel=0.02)
    assert fitted.spread("row") == pytest.approx(float(mixed.scale) ** 0.5, rel=0.02)


def test_a_kind_seen_once_is_drawn_to_what_is_usual():
    """One tandem that took three times the plan moves the tandems' ratio little."""
    work = shop(np.random.default_rng(3), 300, Law(kind={"cargo": 0.2}))
    kinds = [work.levels["bike_kind"][code] for code in work.codes["bike_kind"]]
    kinds[0] = "tandem"
    first = work.job == 0
    tasks = [work.levels["task"][code] for code in work.codes["task"]]
    seen = worked(
        tier=[work.levels["tier"][code] for code in work.codes["tier"]],
        bike_kind=kinds,
        age_class=[work.levels["age_class"][code] for code in work.codes["age_class"]],
        job=work.job,
        task=tasks,
        actual_minutes=np.where(first, 3 * work.planned, work.actual),
        planned_minutes=work.planned,
    )
    fitted = fit(seen)
    usual, tandem = fitted.drift().ratio, fitted.drift(bike_kind="tandem").ratio
    assert usual < tandem < usual + 0.5 * (3 - usual)


def test_a_kind_never_seen_is_as_usual_and_less_sure():
    """Its interval is wider than any seen kind's, about the shop's own middle."""
    fitted = fit(shop(np.random.default_rng(3), 300, Law(kind={"cargo": 0.3, "child": -0.2})))
    seen, unseen = fitted.drift(bike_kind="cargo"), fitted.drift(bike_kind="tandem")
    assert np.log(unseen.high / unseen.low) > 2 * np.log(seen.high / seen.low)
    middle = [fitted.drift(bike_kind=kind).ratio for kind in ("cargo", "child", "city", "tourer")]
    assert min(middle) < unseen.ratio < max(middle)


def test_a_shop_without_jobs_takes_the_plan_as_it_is_and_is_unsure():
    """The ratio is 1, from less than two thirds to more than one and a half."""
    fitted = fit(worked(**NO_JOBS))
    found = fitted.drift(tier="full", task="drivetrain")
    assert found.ratio == pytest.approx(1)
    assert found.low < 2 / 3 and found.high > 1.5
    assert fitted.count_jobs == 0


def test_a_single_job_moves_the_ratio_a_little():
    """One job at twice the plan: more than planned, far from twice."""
    fitted = fit(
        worked(
            tier=["full"],
            bike_kind=["city"],
            age_class=["new"],
            job=np.array([0]),
            task=["drivetrain"],
            actual_minutes=[200],
            planned_minutes=[100],
        )
    )
    assert 1.1 < fitted.drift(tier="full").ratio < 1.9


def test_minutes_that_never_differ_have_a_fit():
    """A shop that books just what was quoted: no drift, hardly any spread."""
    work = shop(np.random.default_rng(1), 200, Law({"a": 0.0}, {"x": 0.0, "y": 0.0}, {}, {}, 0, 0))
    fitted = fit(work)
    assert fitted.drift().ratio == pytest.approx(1, abs=1e-3)
    assert fitted.spread("row") < 0.01


def test_a_start_near_the_fit_ends_at_the_same_fit():
    """The search does not hang on where it begins."""
    sums = sums_of(shop(np.random.default_rng(5), 300))
    fitted = fit_sums(sums)
    again = fit_sums(sums, start=np.log([0.5, 0.02, 0.4, 0.3, 0.01, 0.9]))
    assert again.log_spreads == pytest.approx(fitted.log_spreads, abs=1e-2)
    assert again.effects == pytest.approx(fitted.effects, abs=1e-3)


def test_usual_minutes_are_the_shops_median_where_it_has_many():
    """Tasks done a hundred times take their median, whatever was planned."""
    work = shop(np.random.default_rng(7), 500, is_whole=True)
    fitted = fit(work)
    for code, task in enumerate(work.levels["task"]):
        median = float(np.median(work.actual[work.codes["task"] == code]))
        assert fitted.usual_minutes(task) == pytest.approx(median, abs=1e-6)


def test_usual_minutes_are_drawn_to_the_terms_where_few():
    """One brake job of 80 minutes and terms of 40: four parts the terms', in logarithms."""
    work = worked(**{**_one(), "actual_minutes": [80], "planned_minutes": [None]})
    told = fit(work, {"brakes": 40.0, "bearings": 120.0})
    assert told.usual_minutes("brakes") == pytest.approx(40 * 2 ** (1 / 5))
    assert told.usual_minutes("bearings") == pytest.approx(120)
    assert fit(work).usual_minutes("brakes") == pytest.approx(80)


def test_a_task_nobody_knows_is_refused():
    """Never done, and no terms tell it: the message says what would be right."""
    with pytest.raises(CannotFit, match="'wheels' was never done and has no minutes"):
        fit(worked(**_one())).usual_minutes("wheels")


def _one():
    return {
        "tier": ["full"],
        "bike_kind": ["city"],
        "age_class": ["new"],
        "job": np.array([0]),
        "task": ["brakes"],
        "actual_minutes": [50],
        "planned_minutes": [PLANNED["brakes"]],
    }
