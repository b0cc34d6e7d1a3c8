"""Trend tests: exact chances, pooling, ends, words, and what is refused."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ledger.analysis.exact_chances import (
    chance_of_sum_below,
    chances_of_rising_pairs,
    count_rising_pairs,
)
from ledger.analysis.histories import histories_of
from ledger.analysis.life_bounds import BadLives
from ledger.analysis.trends import (
    laplace,
    least_to_judge,
    military_handbook,
    reverse_arrangements,
    trend,
    trend_of,
)

TESTS = (laplace, military_handbook, reverse_arrangements)


@pytest.mark.parametrize("count", [1, 2, 5, 12])
def test_a_sum_of_like_uniforms_is_irwins_and_halls(count):
    """For widths alike the chance is that of the Irwin–Hall distribution."""
    for share in (0.05, 0.3, 0.5, 0.81, 0.99):
        found = chance_of_sum_below(share * count * 7, np.full(count, 7.0))
        assert found == pytest.approx(stats.irwinhall(count).cdf(share * count), abs=1e-9)


def test_a_sum_of_unlike_uniforms_is_as_drawn():
    """For widths unlike the chance is the share of draws below, to four standard errors."""
    random = np.random.default_rng(20260807)
    widths = np.array([1.0, 3.0, 3.5, 10.0])
    drawn = (random.random((400_000, 4)) * widths).sum(axis=1)
    for total in (2, 6, 9, 13):
        found = chance_of_sum_below(total, widths)
        assert found == pytest.approx(np.mean(drawn <= total), abs=4 * 0.0008)


def test_a_sum_that_loses_its_digits_has_no_exact_chance():
    """Many uniforms, or widths too unlike, are left to the normal approximation."""
    assert chance_of_sum_below(6.6, np.ones(13)) is None
    assert chance_of_sum_below(1500.0, np.array([1e-7, 1e-7, 3000.0, 1000.0])) is None
    assert chance_of_sum_below(0.0, np.ones(3)) == 0
    assert chance_of_sum_below(3.0, np.ones(3)) == 1


@pytest.mark.parametrize("lengths", [[5], [3, 4], [1, 2, 0, 3]])
def test_chances_of_rising_pairs_are_those_of_all_orders(lengths):
    """The chance of each count of rising pairs is its share among all orders, gone through."""
    counts = []
    for orders in itertools.product(*(itertools.permutations(range(n)) for n in lengths)):
        sequence = np.repeat(np.arange(len(lengths)), lengths)
        values = np.array(list(itertools.chain(*orders)), dtype=float)
        counts.append(count_rising_pairs(sequence, values)[0])
    shares = np.bincount(counts) / len(counts)
    assert chances_of_rising_pairs(np.array(lengths)) == pytest.approx(shares, abs=1e-12)


def test_reverse_arrangements_are_kendalls_test():
    """Of one unit's gaps the two-sided chance is scipy's exact one of Kendall's tau."""
    random = np.random.default_rng(20260819)
    for count in (4, 7, 15, 30):
        gaps = random.exponential(1, count)
        found = reverse_arrangements(gaps.cumsum(), gaps.sum() + 1)
        theirs = stats.kendalltau(np.arange(count), gaps, method="exact")
        assert found.chance == pytest.approx(theirs.pvalue, rel=1e-9)
        pairs = count * (count - 1) / 2
        assert found.statistic == pytest.approx((theirs.statistic + 1) * pairs / 2)


def test_many_gaps_take_the_normal_chances():
    """Past a thousand pairs the chance is within a hundredth of scipy's exact one."""
    gaps = np.random.default_rng(20260820).exponential(1, 60)
    found = reverse_arrangements(gaps.cumsum(), gaps.sum())
    theirs = stats.kendalltau(np.arange(60), gaps, method="exact")
    assert found.method == "normal, half a pair off"
    assert found.chance == pytest.approx(theirs.pvalue, rel=0.01)


def test_fewer_events_than_the_rule_asks_for_are_too_few():
    """With so few events even the two most telling orders are no evidence; the words say it."""
    assert [least_to_judge(level) for level in (0.8, 0.9, 0.95, 0.99)] == [4, 4, 5, 6]
    for test in TESTS:
        few = test([96, 97, 98, 99], 100)
        assert few.judgement == "too few events to judge"
        assert few.words == "too few events to judge (4; at least 5)"
    assert reverse_arrangements([50, 80, 93, 97, 99], 100).judgement == "getting worse"
    assert reverse_arrangements([50, 80, 93, 97], 100).chance > 0.05


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_few_events_have_figures_and_words_all_the_same(count):
    """No event, or one, two or three, give every figure but no judgement."""
    found = trend([10, 30, 60][:count], 100)
    assert found.judgement == "too few events to judge"
    assert found.words == f"too few events to judge ({count}; at least 5)"
    assert (found.power_law is None) == (count == 0)
    for test in (found.laplace, found.military_handbook, found.reverse_arrangements):
        assert test.count_events == count
        assert 0 < test.chance_worse <= 1
        assert 0 < test.chance_better <= 1


def test_a_single_failure_that_ended_the_watching_tells_nothing():
    """Its age is where watching ended, so that no event is left; without any it is refused."""
    found = trend([40])
    assert (found.laplace.count_events, found.power_law) == (0, None)
    assert "0 of 1 came before" in found.why_no_power_law
    with pytest.raises(BadLives, match="row 0: end: it is left open, and its unit has no event"):
        trend([])


def test_an_end_left_open_drops_the_last_event_once():
    """The last event, or one of two at that age, is left out; else its age is the end."""
    for test in (laplace, military_handbook):
        assert test([9, 2, 5, 7]).statistic == pytest.approx(test([2, 5, 7], 9).statistic)
        assert test([9, 2, 9, 7]).statistic == pytest.approx(test([2, 9, 7], 9).statistic)
        assert test([9, 2, 5, 7]).count_events == 3


def test_every_test_sees_a_trend_to_either_side():
    """Crowding to the end is getting worse, to the beginning getting better."""
    late = [100 - 100 * 0.75**step for step in range(1, 13)]
    early = [100 - time for time in late]
    for test in TESTS:
        assert test(late, 100).judgement == "getting worse"
        assert test(early, 100).judgement == "getting better"
        assert test(late, 100).score > 0 > test(early, 100).score
        assert test(late, 100).chance_worse < 0.025 < test(late, 100).chance_better


def test_words_give_the_grounds_and_what_would_have_been_noticed():
    """A judgement comes with its events and its chance; none shown, with the power to show one."""
    even = trend(np.arange(1, 11) * 10 - 5, 100)
    assert even.words.startswith(
        "no trend shown (10 events; chance alone does as much in 100 % of cases); "
        "a rate that doubled half-way would be noticed in 14 % of cases"
    )
    worse = trend([30, 50, 75, 85, 90, 93, 96, 99], 100)
    assert worse.words.startswith("getting worse (8 events; chance alone does as much in 0.6 %")
    clear = trend([60, 80, 85, 90, 93, 96, 99], 100).words
    assert "does as much in less than 0.1 % of cases" in clear


def test_tests_that_disagree_are_named():
    """Where another test shows what Laplace's does not, the words name it."""
    times = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]
    assert trend(times, 1500).words.endswith("; the MIL-HDBK-189 test: getting better")


def test_an_event_at_the_very_start_leaves_laplace_alone():
    """MIL-HDBK-189 and the power law have no event at 0; the trend says so and goes on."""
    found = trend([0, 10, 20, 30, 40], 100)
    assert (found.military_handbook, found.power_law) == (None, None)
    assert found.why_no_power_law == "an event is at the very start"
    assert found.laplace.count_events == 5
    with pytest.raises(BadLives, match="row 1: time_of_event: it is at its unit's start"):
        military_handbook([3, 0], 5)


def test_equal_gaps_are_taken_against_the_trend():
    """Of equal gaps no pair counts as rising, and either chance is the larger of the two."""
    found = reverse_arrangements([10, 20, 30, 40, 50], 60)
    assert found.statistic == 0
    assert (found.chance_worse, found.chance_better) == pytest.approx((1, 1))


@pytest.mark.parametrize("test", TESTS)
def test_one_unit_in_a_group_is_that_unit(test):
    """A group of one unit, and of silent units beside it, has the figures of the unit alone."""
    alone = test([3, 14, 15, 92], 100, start=1)
    group = test([15, 92, 3, 14], [50, 100], unit_of_event=["b"] * 4, unit=["a", "b"], start=[0, 1])
    assert group.statistic == pytest.approx(alone.statistic, rel=1e-12)
    assert group.chance_worse == pytest.approx(alone.chance_worse, rel=1e-9)
    assert group.method == alone.method
    assert (group.count_events, group.degrees_of_freedom) == (4, alone.degrees_of_freedom)


def test_units_are_pooled_each_within_its_own_watching():
    """Laplace sums ages less their unit's middle, MIL-HDBK-189 the logarithms of each unit."""
    unit, time = ["a", "a", "b", "b", "b"], [2, 9, 30, 35, 60]
    ends, starts = pa.array([10, None]), [0, 20]
    asked = {"unit_of_event": unit, "unit": ["a", "b"], "start": starts}
    pooled = laplace(time, ends, **asked)
    # b ends with its event at 60: widths 10, 10, 40, 40
    apart = (2 - 5) + (9 - 5) + (30 - 40) + (35 - 40)
    assert pooled.statistic == pytest.approx(apart / math.sqrt((2 * 10**2 + 2 * 40**2) / 12))
    assert pooled.method == "exact (sum of uniforms)"
    military = military_handbook(time, ends, **asked)
    logs = math.log(10 / 2) + math.log(10 / 9) + math.log(40 / 10) + math.log(40 / 15)
    assert military.statistic == pytest.approx(2 * logs)
    assert military.degrees_of_freedom == 8
    arranged = reverse_arrangements(time, ends, **asked)
    assert arranged.statistic == 1 + 2  # gaps 2, 7 and 10, 5, 25
    assert arranged.count_events == 5


def test_large_groups_take_their_spread_from_the_units():
    """From twenty units with events on Laplace's spread is that between units; below it is not."""
    times = [([10 + unit, 80], 100) for unit in range(20)]
    assert trend_of(histories_of(times)).laplace.method == "normal, spread between units"
    assert "spread" not in trend_of(histories_of(times[:19])).laplace.method


@st.composite
def unit_histories(draw):
    """Draw up to five units of different ends and their events, none twice at one age."""
    units = []
    for _ in range(draw(st.integers(1, 5))):
        end = draw(st.integers(20, 200))
        ages = draw(st.lists(st.integers(1, end), max_size=8, unique=True))
        units.append((ages, end))
    return units


@given(unit_histories(), st.sampled_from([0.01, 365.25]))
def test_the_unit_of_measure_and_the_order_do_not_matter(units, factor):
    """Ages in another measure and in another order give the same judgement and chances."""
    turned = [([age * factor for age in ages[::-1]], end * factor) for ages, end in units[::-1]]
    one, other = trend_of(histories_of(units)), trend_of(histories_of(turned))
    for test in ("laplace", "military_handbook"):
        first, second = getattr(one, test), getattr(other, test)
        assert second.statistic == pytest.approx(first.statistic, abs=1e-8)
        assert second.chance_worse == pytest.approx(first.chance_worse, abs=1e-8)


@given(unit_histories())
def test_time_turned_round_turns_laplace_round(units):
    """Seen from the end, what is getting worse is getting better, as surely."""
    turned = [([end - age for age in ages], end) for ages, end in units]
    one = trend_of(histories_of(units)).laplace
    other = trend_of(histories_of(turned)).laplace
    assert other.statistic == pytest.approx(-one.statistic, abs=1e-9)
    assert other.chance_better == pytest.approx(one.chance_worse, abs=1e-9)


REFUSED = {
    "an event after the end": (([10, 120], 100), "row 1: time_of_event: it is after its unit's"),
    "a negative age": (([-1], 100), "row 0: time_of_event: it is no age"),
    "an age that is no number": (([5, None], 100), "row 1: time_of_event: it is not a number"),
    "a negative end": (([5], -100), "row 0: end: it is no age"),
    "text": ((["soon"], 100), "column: time_of_event: some of it is not a number"),
}


@pytest.mark.parametrize("why", REFUSED)
def test_bad_rows_are_refused_with_their_place(why):
    """A figure that cannot be is refused, with its row, its column and what is wrong."""
    given_, message = REFUSED[why]
    with pytest.raises(BadLives) as refused:
        trend(*given_)
    assert str(refused.value).startswith(message)


def test_a_level_that_is_none_is_refused():
    """A level is a share: 95 is not one."""
    for test in (*TESTS, trend):
        with pytest.raises(BadLives, match="level"):
            test([1, 2, 3], 5, level=95)


def test_the_score_of_equal_gaps_shows_no_trend():
    """Twenty gaps alike point to neither side: the score is 0, as the chances are alike."""
    found = reverse_arrangements(range(1, 21), 21)
    assert (found.score, found.judgement) == (0, "no trend shown")
    assert found.chance_worse == pytest.approx(found.chance_better)


@given(st.lists(st.integers(1, 4), min_size=2, max_size=60))
def test_a_score_above_0_has_worse_less_likely_by_chance(gaps):
    """The sign of the score agrees with the chances, equal gaps or not, exact or normal."""
    ages = np.cumsum(gaps)
    found = reverse_arrangements(ages, ages[-1] + 1)
    if found.score:
        assert (found.score > 0) == (found.chance_worse < found.chance_better)
    else:
        assert min(found.chance_worse, found.chance_better) >= 0.5
