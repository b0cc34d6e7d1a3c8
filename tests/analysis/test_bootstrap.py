"""Intervals of ratios of sums: against the delta method, by simulation, and their invariants."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtri

from ledger.analysis.bootstrap import ratio_of_sums
from ledger.analysis.life_bounds import BadLives


def _shop(rng, count_bikes, *, mean_jobs=3.0):
    """Jobs of bikes: money and hours, where a bike's own way shows in all its jobs."""
    jobs = rng.poisson(mean_jobs, count_bikes)
    bike = np.repeat(np.arange(count_bikes), jobs)
    dear = rng.normal(0, 8, count_bikes)[bike]
    hours = rng.gamma(3, 0.6, len(bike))
    money = hours * (40 + dear) + rng.normal(0, 25, len(bike))
    return money, hours, bike


def test_the_interval_is_as_wide_as_the_delta_methods():
    """Of many bikes, about the sandwich of statsmodels with bikes as clusters."""
    money, hours, bike = _shop(np.random.default_rng(3), 900)
    # weighted by 1 / hours, the least-squares slope through 0 is just the ratio of the sums
    slope = sm.WLS(money, hours, weights=1 / hours).fit()
    robust = slope.get_robustcov_results("cluster", groups=bike, use_correction=False)
    found = ratio_of_sums(money, hours, bike, levels=(0.8,), seed=1, resamples=4000)
    assert found.estimate[0] == pytest.approx(robust.params[0])
    reach = float(ndtri(0.9)) * robust.bse[0]
    assert found.low[0, 0] == pytest.approx(robust.params[0] - reach, abs=0.1 * reach)
    assert found.high[0, 0] == pytest.approx(robust.params[0] + reach, abs=0.1 * reach)


def test_eighty_of_a_hundred_shops_have_the_truth_within():
    """80 % intervals hold the true ratio in 77 to 83 % of 1,200 simulated shops of 150 bikes."""
    rng = np.random.default_rng(20)
    held = []
    for shop in range(1200):
        money, hours, bike = _shop(rng, 150)
        found = ratio_of_sums(money, hours, bike, levels=(0.8,), seed=shop, resamples=400)
        held.append(found.low[0, 0] <= 40 <= found.high[0, 0])
    assert 0.77 <= np.mean(held) <= 0.83


def test_many_bikes_in_blocks_have_the_interval_of_each_for_itself():
    """9,000 bikes dealt into 2,000 blocks: as wide as resampling the bikes, within a tenth."""
    money, hours, bike = _shop(np.random.default_rng(5), 9_000)
    dealt = ratio_of_sums(money, hours, bike, levels=(0.8,), seed=2)
    each = ratio_of_sums(money, hours, bike, levels=(0.8,), seed=2, resamples=800, blocks=9_000)
    assert dealt.is_in_blocks and not each.is_in_blocks
    wide = [float((found.high - found.low)[0, 0]) for found in (dealt, each)]
    assert wide[0] == pytest.approx(wide[1], rel=0.1)
    assert dealt.estimate[0] == each.estimate[0]


def test_intervals_of_blocks_hold_as_often_as_they_say():
    """400 shops of 300 bikes in 100 blocks: the truth is within in 75 to 85 %."""
    rng = np.random.default_rng(21)
    held = []
    for shop in range(400):
        money, hours, bike = _shop(rng, 300)
        found = ratio_of_sums(
            money, hours, bike, levels=(0.8,), seed=shop, resamples=400, blocks=100
        )
        held.append(found.low[0, 0] <= 40 <= found.high[0, 0])
    assert 0.75 <= np.mean(held) <= 0.85


rows = st.lists(
    st.tuples(
        st.integers(-500, 5000), st.integers(1, 300), st.sampled_from("ABCDEFGH"), st.integers(0, 2)
    ),
    min_size=1,
    max_size=40,
)


@given(rows, st.randoms(use_true_random=False), st.sampled_from([3, 2000]))
@settings(max_examples=60, deadline=None)
def test_the_order_of_rows_does_not_show(drawn, random, blocks):
    """Shuffled rows give the same estimates and intervals, bike by bike or in blocks."""
    found = _of(drawn, blocks)
    random.shuffle(drawn)
    again = _of(drawn, blocks)
    for name in ("estimate", "low", "high", "count_clusters"):
        np.testing.assert_allclose(getattr(found, name), getattr(again, name))


@given(rows)
@settings(max_examples=60, deadline=None)
def test_a_ratio_is_the_sum_over_the_sum(drawn):
    """Group by group; a group with one bike has no interval, one without rows no figure."""
    found = _of(drawn, 2000)
    for group in range(3):
        own = [row for row in drawn if row[3] == group]
        bikes = {row[2] for row in own}
        assert found.count_clusters[group] == len(bikes)
        assert np.isnan(found.low[:, group]).all() == (len(bikes) < 2)
        if own:
            assert found.estimate[group] == pytest.approx(
                sum(row[0] for row in own) / sum(row[1] for row in own)
            )
        else:
            assert np.isnan(found.estimate[group])


def _of(drawn, blocks):
    money, hours, bike, group = zip(*drawn, strict=True)
    return ratio_of_sums(
        money,
        hours,
        pa.array(bike),
        group=np.array(group),
        count_groups=3,
        seed=4,
        resamples=50,
        blocks=blocks,
    )


def test_a_wider_level_has_a_wider_interval_and_another_seed_another():
    """The 95 % interval holds the 80 % one; the same seed gives the same figures."""
    money, hours, bike = _shop(np.random.default_rng(8), 60)
    found, same = (ratio_of_sums(money, hours, bike, seed=1) for _ in range(2))
    other = ratio_of_sums(money, hours, bike, seed=2)
    assert found.low[1, 0] < found.low[0, 0] < found.high[0, 0] < found.high[1, 0]
    assert (found.low == same.low).all() and (found.low != other.low).all()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: ratio_of_sums([1, 2], [1], ["a", "b"]), "denominator"),
        (lambda: ratio_of_sums([1, np.inf], [1, 1], ["a", "b"]), "numerator"),
        (lambda: ratio_of_sums([1], [1], [None]), "cluster"),
        (lambda: ratio_of_sums([1], [1], ["a"], group=np.array([1])), "group"),
        (lambda: ratio_of_sums([1], [1], ["a"], levels=(1.5,)), "levels"),
        (lambda: ratio_of_sums([1], [1], ["a"], resamples=2), "resamples"),
    ],
)
def test_what_cannot_be_resampled_is_refused(call, message):
    """Columns that disagree, an infinite sum and a bike without a name are named."""
    with pytest.raises(BadLives, match=message):
        call()
