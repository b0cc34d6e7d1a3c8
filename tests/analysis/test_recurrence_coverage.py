"""How often the interval of a mean cumulative function holds the truth, and how long it takes."""

from __future__ import annotations

import numpy as np
import pytest

from ledger.analysis.recurrence import difference, mean_cumulative

RATE, AGE = 0.004, 500.0
"""Events a day, and the day at which the truth, RATE * AGE, is asked for."""


def bikes(random, count):
    """Draw bikes watched for 100 to 1,000 days, whose rates differ as a gamma of variance 1."""
    end = random.uniform(100, 1000, count)
    of_event = np.repeat(np.arange(count), random.poisson(RATE * random.gamma(1, 1, count) * end))
    return of_event, random.random(len(of_event)) * end[of_event], end


def share_held(intervals, truth):
    """Give the share of intervals that hold the truth."""
    low, high = np.array(intervals).T
    return np.mean((low <= truth) & (truth <= high))


def test_the_robust_interval_holds_the_truth_and_the_naive_one_does_not():
    """Of bikes that differ, 95 % of robust intervals hold the mean; of naive ones under 80 %."""
    random = np.random.default_rng(20260803)
    found = {("robust", "normal"): [], ("robust", "log"): [], ("poisson", "normal"): []}
    for _ in range(1000):
        drawn = bikes(random, 200)
        for (variance, interval), held in found.items():
            at = mean_cumulative(*drawn, variance=variance, interval=interval).at(AGE)
            held.append((at.low[0], at.high[0]))
    held = {key: share_held(intervals, RATE * AGE) for key, intervals in found.items()}
    assert held["robust", "normal"] == pytest.approx(0.95, abs=0.02)
    assert held["robust", "log"] == pytest.approx(0.95, abs=0.02)
    assert held["poisson", "normal"] < 0.8


def test_a_clustered_interval_holds_the_truth_where_units_share_a_bike():
    """Of five parts a bike, 95 % of intervals by bikes hold the mean, those by parts fewer."""
    random = np.random.default_rng(20260804)
    by_bike, by_part = [], []
    for _ in range(600):
        bike = np.repeat(np.arange(150), 5)
        end = random.uniform(100, 1000, len(bike))
        count = random.poisson(RATE * random.gamma(1, 1, 150)[bike] * end)
        of_event = np.repeat(np.arange(len(bike)), count)
        drawn = (of_event, random.random(len(of_event)) * end[of_event], end)
        for held, cluster in ((by_bike, bike), (by_part, None)):
            at = mean_cumulative(*drawn, cluster=cluster).at(AGE)
            held.append((at.low[0], at.high[0]))
    assert share_held(by_bike, RATE * AGE) == pytest.approx(0.95, abs=0.025)
    assert share_held(by_part, RATE * AGE) < 0.85


def test_a_difference_of_like_groups_holds_0():
    """Of two groups of like bikes, 95 % of intervals of the difference hold 0."""
    random = np.random.default_rng(20260805)
    intervals = []
    for _ in range(600):
        apart = difference(
            mean_cumulative(*bikes(random, 150)), mean_cumulative(*bikes(random, 60)), AGE
        )
        intervals.append((apart.low[0], apart.high[0]))
    assert share_held(intervals, 0) == pytest.approx(0.95, abs=0.025)
