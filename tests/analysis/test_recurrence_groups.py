"""Groups of recurrent events beside the rest: against curves worked out group by group."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.histories import Histories, histories
from ledger.analysis.life_bounds import BadLives, TooFewLives
from ledger.analysis.recurrence import difference, mean_cumulative_of
from ledger.analysis.recurrence_groups import group_means

UNIT = st.tuples(
    st.integers(0, 2),
    st.integers(1, 40),
    st.lists(st.floats(0, 1), max_size=4),
    st.integers(0, 5),
)


def shop(units):
    """Give histories, groups and clusters of (group, end, shares of the end with an event)."""
    ends = [float(end) for _, end, _, _ in units]
    unit = [row for row, (_, _, shares, _) in enumerate(units) for _ in shares]
    time = [np.floor(share * end) for _, end, shares, _ in units for share in shares]
    numbers = np.unique([group for group, *_ in units], return_inverse=True)[1]
    return histories(unit, time, ends), numbers, np.array([cluster for *_, cluster in units])


def only(watched, is_in):
    """Give the histories of some of the units."""
    row, kept = np.cumsum(is_in) - 1, is_in[watched.unit]
    ends = watched.end[is_in]
    return histories(row[watched.unit[kept]], watched.time[kept], ends)


@given(st.lists(UNIT, min_size=1, max_size=30))
@settings(deadline=None, max_examples=80)
def test_each_group_has_its_own_curves_mean_and_robust_error(units):
    """Mean and error of a group by an age are those of its mean cumulative function there."""
    watched, group, cluster = shop(units)
    found = group_means(watched, group, 12.0, cluster=cluster)
    for own in range(group.max() + 1):
        curve = mean_cumulative_of(only(watched, group == own), cluster=cluster[group == own])
        at = curve.at(12.0)
        assert found.mean[own] == pytest.approx(at.mcf[0], nan_ok=True)
        assert found.se[own] == pytest.approx(at.se[0], abs=1e-9, nan_ok=True)
        assert found.count_units[own] == curve.count_units
        assert found.count_events[own] == curve.count_events
        assert found.count_clusters[own] == curve.count_clusters


@given(st.lists(UNIT, min_size=2, max_size=30))
@settings(deadline=None, max_examples=80)
def test_groups_of_different_bikes_differ_as_independent_curves_do(units):
    """Without clusters across groups the interval is that of two independent curves."""
    watched, group, _ = shop(units)
    found = group_means(watched, group, 12.0)
    for own in range(group.max() + 1):
        if np.all(group == own):
            assert np.isnan(found.difference[own])
            continue
        curves = [
            mean_cumulative_of(only(watched, is_in)) for is_in in (group == own, group != own)
        ]
        apart = difference(*curves, 12.0)
        assert found.difference[own] == pytest.approx(apart.difference[0], abs=1e-12, nan_ok=True)
        assert found.low[own] == pytest.approx(apart.low[0], abs=1e-9, nan_ok=True)
        assert found.high[own] == pytest.approx(apart.high[0], abs=1e-9, nan_ok=True)


def paired_shop(rng, count_bikes):
    """Give a shop where each bike has a part of two models, and its rider is hard on both."""
    rate = np.repeat(rng.gamma(1.0, 2.0, count_bikes), 2)
    counts = rng.poisson(rate)
    unit = np.repeat(np.arange(2 * count_bikes), counts)
    end = np.full(2 * count_bikes, 10.0)
    nothing = np.zeros(2 * count_bikes)
    time = rng.random(len(unit)) * 10
    watched = Histories(unit, time, nothing, end, nothing.astype(bool))
    return watched, np.tile([0, 1], count_bikes), np.repeat(np.arange(count_bikes), 2)


def test_parts_of_one_bike_take_its_rider_out_of_the_difference():
    """The error told for a difference within bikes is how far such differences scatter.

    Simulated here: 400 shops of 60 bikes (seed 5). Taken for independent, the error would be
    nearly twice as large.
    """
    rng = np.random.default_rng(5)
    apart, told, alone = [], [], []
    for _ in range(400):
        watched, group, bike = paired_shop(rng, 60)
        found = group_means(watched, group, 10.0, cluster=bike)
        apart.append(found.difference[0])
        told.append(found.difference_se[0])
        alone.append(group_means(watched, group, 10.0).difference_se[0])
    assert np.mean(told) == pytest.approx(np.std(apart), rel=0.08)
    assert np.mean(alone) > 1.5 * np.std(apart)


def test_an_age_nobody_of_a_group_reached_is_not_known():
    """A group seen for less than the age has no mean there, and others no rest beside it."""
    watched = histories([0, 1], [1.0, 2.0], [3.0, 9.0])
    found = group_means(watched, [0, 1], 5.0)
    assert np.isnan(found.mean[0]) and np.isnan(found.difference).all()
    assert found.mean[1] == 1.0 and np.isnan(found.rest[1])


def test_what_cannot_be_grouped_is_refused():
    """Errors name the column and say what would be right."""
    watched = histories([0], [1.0], [3.0, 9.0])
    for group in ([0], [0, 2], [0.0, 1.0], [-1, 0]):
        with pytest.raises(BadLives):
            group_means(watched, np.array(group), 5.0)
    with pytest.raises(BadLives, match="when"):
        group_means(watched, np.array([0, 1]), 0.0)
    with pytest.raises(BadLives, match="start"):
        late = histories([0], [2.0], [3.0, 9.0], start=[1.0, 0.0])
        group_means(late, np.array([0, 1]), 5.0)
    with pytest.raises(TooFewLives):
        group_means(histories([], [], []), np.array([], dtype=int), 5.0)
