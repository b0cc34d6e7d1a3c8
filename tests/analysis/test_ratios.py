"""Actual over quoted minutes: quantiles, shares over, intervals."""

from __future__ import annotations

import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest

from ledger.analysis.life_bounds import BadLives
from ledger.analysis.ratios import spread, spreads, wilson

pairs = st.lists(st.tuples(st.integers(0, 300), st.integers(0, 300)), min_size=1, max_size=40)


@given(pairs)
def test_the_spread_is_that_of_pythons_statistics(rows):
    """Median, quartiles and tenths are `statistics.quantiles`' inclusive ones."""
    ratios = [actual / quoted for actual, quoted in rows if actual and quoted]
    found = spread([actual for actual, _ in rows], [quoted for _, quoted in rows])
    assert found.count == len(ratios)
    if len(ratios) < 2:
        return
    quartiles = statistics.quantiles(ratios, n=4, method="inclusive")
    tenths = statistics.quantiles(ratios, n=10, method="inclusive")
    assert [found.low_quartile, found.median, found.high_quartile] == pytest.approx(quartiles)
    assert [found.low_tenth, found.high_tenth] == pytest.approx([tenths[0], tenths[-1]])
    assert found.count_over == sum(
        5 * actual > 6 * quoted for actual, quoted in rows if actual and quoted
    )


@given(st.integers(1, 10_000))
def test_just_a_fifth_over_is_not_over(fifth):
    """6 minutes for each 5 quoted is 1.2, and not more than that; a minute more is."""
    found = spread([6 * fifth, 6 * fifth + 1], [5 * fifth, 5 * fifth])
    assert found.count_over == 1


@given(pairs, st.integers(1, 4), st.randoms(use_true_random=False))
def test_each_group_has_the_spread_it_would_have_alone(rows, groups, random):
    """Many groups at once are as one at a time."""
    group = np.array([random.randrange(groups) for _ in rows])
    actual, quoted = (np.array(column) for column in zip(*rows, strict=True))
    together = spreads(actual, quoted, group, groups)
    assert together == tuple(spread(actual[group == n], quoted[group == n]) for n in range(groups))


def test_a_published_wilson_interval():
    """81 of 263: 0.2553 to 0.3662 at 95 %."""
    # Newcombe, Statistics in Medicine 17 (1998), table I, method 3 (from memory)
    assert wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=5e-5)
    # and the same table's 0 of 20 (from memory)
    assert wilson(0, 20) == pytest.approx((0.0, 0.1611), abs=5e-5)


@given(st.integers(1, 500), st.floats(0, 1), st.sampled_from([0.8, 0.95]))
def test_the_interval_of_a_share_is_scipys(of, part, level):
    """Any count of any size, none and all of them too."""
    count = round(part * of)
    want = binomtest(count, of).proportion_ci(confidence_level=level, method="wilson")
    assert wilson(count, of, level) == pytest.approx((want.low, want.high), abs=1e-9)


def test_few_are_too_few_to_judge():
    """Seven jobs have figures, but they are not judged by; eight are."""
    assert not spread([10] * 7, [10] * 7).is_judged
    assert spread([10] * 8, [10] * 8).is_judged


def test_nothing_to_compare_has_no_figures():
    """No minutes quoted, none worked: no ratio."""
    found = spread([10, 0], [0, 10])
    assert (found.count, found.median, found.share_over) == (0, None, None)


def test_columns_that_disagree_are_refused():
    """Two minutes worked and one quoted are named."""
    with pytest.raises(BadLives, match="quoted"):
        spread([1, 2], [1])
    with pytest.raises(BadLives, match="group"):
        spreads([1], [1], np.array([3]), 2)
