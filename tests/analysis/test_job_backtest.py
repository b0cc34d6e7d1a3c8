"""Forecasts of minutes scored on jobs that came after."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ledger.analysis.job_time import backtest
from tests.analysis.job_shop import Law, shop


def test_jobs_that_came_after_are_under_p50_and_p80_as_often_as_it_says():
    """Of 1,600 scored in eight folds: 45 to 55 % under P50, 75 to 85 % under P80."""
    found = backtest(shop(np.random.default_rng(1), 2000, is_whole=True))
    assert found is not None
    assert found.count == 1600 and len(found.folds) == 8
    assert 0.45 <= found.share_under_p50 <= 0.55
    assert 0.75 <= found.share_under_p80 <= 0.85


def test_it_loses_less_than_two_forecasts_anybody_can_make():
    """Where tiers and ages drift apart, less than the plan and less than the median ratio."""
    law = Law({"quick": -0.2, "full": 0.1, "overhaul": 0.3}, {"new": 0.0, "unknown": 0.2})
    found = backtest(shop(np.random.default_rng(2), 1000, law))
    assert found is not None
    assert found.loss < 0.95 * found.loss_median_ratio < found.loss_planned


def test_no_forecast_knows_what_came_after():
    """Jobs of the last fold taking ten times as long change the scores of no earlier fold."""
    work = shop(np.random.default_rng(3), 600)
    before = backtest(work)
    assert before is not None
    last = before.folds[-1].fitted_until
    is_late = work.closed_at[work.job] >= last
    after = backtest(replace(work, actual=np.where(is_late, 4 * work.actual, work.actual)))
    assert after is not None
    assert after.folds[:-1] == before.folds[:-1]
    assert after.folds[-1].share_under_p80 < 0.2


def test_each_fold_is_fitted_on_all_jobs_before_it():
    """Counts of jobs fitted and scored add up, fold by fold."""
    found = backtest(shop(np.random.default_rng(4), 500), folds=6)
    assert found is not None
    assert len(found.folds) == 6
    for fold, following in zip(found.folds, found.folds[1:], strict=False):
        assert following.count_fitted == fold.count_fitted + fold.count_scored
        assert following.fitted_until == fold.scored_until
    assert sum(fold.count_scored for fold in found.folds) == found.count
    shares = [fold.share_under_p50 * fold.count_scored for fold in found.folds]
    assert sum(shares) / found.count == pytest.approx(found.share_under_p50)


def test_a_large_shop_is_scored_on_a_draw_of_each_fold():
    """No more than 500 jobs a fold, the same for the same seed."""
    work = shop(np.random.default_rng(5), 6000)
    found, same = backtest(work, seed=3), backtest(work, seed=3)
    assert found is not None
    assert found == same
    assert [fold.count_scored for fold in found.folds] == [500] * 8
    assert found.folds[1].count_fitted - found.folds[0].count_fitted == 600


def test_jobs_without_planned_minutes_are_not_scored():
    """Half the jobs were not planned: they neither count nor move a figure."""
    work = shop(np.random.default_rng(6), 600)
    is_planned = work.job % 2 == 0
    half = backtest(replace(work, planned=np.where(is_planned, work.planned, np.nan)))
    alone = backtest(work.kept(np.arange(600) % 2 == 0))
    assert half == alone and half is not None


def test_too_few_jobs_have_no_backtest():
    """Fifty jobs are too few to score."""
    assert backtest(shop(np.random.default_rng(7), 50)) is None
