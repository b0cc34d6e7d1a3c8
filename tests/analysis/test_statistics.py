"""Robust lines, rank correlation and weighted quantiles."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.analysis.life_bounds import BadLives, TooFewLives
from ledger.analysis.statistics import kendall, theil_sen, weighted_quantile

# Helsel and Hirsch, Statistical Methods in Water Resources: the textbook's example (from memory)
X, Y = [1, 2, 3, 4, 5, 6, 7], [1, 2, 3, 4, 5, 16, 7]


def test_a_wild_reading_does_not_tilt_the_line():
    """The textbook's line has slope 1, intercept 0 and a 95 % interval from 1.0 to 3.5."""
    line = theil_sen(X, Y)
    assert line == pytest.approx((1.0, 0.0, 1.0, 3.5))  # the interval is scipy's
    plain = np.polyfit(X, Y, 1)
    assert plain == pytest.approx([1.714286, -1.428571], abs=1e-6)


def test_the_intercept_is_at_the_x_given():
    """Counted from 0, the same readings have intercept 1: a package that always does says so."""
    # pymannkendall counts x from 0 and gives 1.0 here, where x from 1 gives 0.0
    assert theil_sen([x - 1 for x in X], Y).intercept == pytest.approx(1.0)


def test_ranks_rise_together_as_in_the_textbook():
    """The same readings have S = 19 of 21 pairs, so tau 0.904762."""
    found = kendall(X, Y)
    assert found.tau == pytest.approx(0.904762, abs=1e-6)
    assert found.tau * 21 == pytest.approx(19)
    # of the 5,040 orders of 7, 1 has no swap and 6 have one; two-sided
    assert found.p_value == pytest.approx(2 * 7 / 5040)


@given(
    st.lists(st.integers(-50, 50), min_size=4, max_size=9, unique=True),
    st.integers(-5, 5),
    st.integers(1, 9),
    st.integers(-100, 100),
)
def test_a_line_follows_what_is_done_to_its_readings(x, slope, factor, shift):
    """Readings times a factor, plus a line, have the slope times the factor plus the line's."""
    y = [(7 * value) % 11 for value in x]
    line = theil_sen(x, y)
    moved = theil_sen(x, [factor * b + slope * a + shift for a, b in zip(x, y, strict=True)])
    assert moved.slope == pytest.approx(factor * line.slope + slope)
    assert line.lower <= line.slope <= line.upper


def test_a_quantile_counts_weights_as_rows():
    """A value of weight 3 counts as three values do; one of weight 0 never shows."""
    found = weighted_quantile([10, 20, 30, 5], [1, 3, 1, 0], [0.0, 0.2, 0.5, 0.8, 0.81, 1.0])
    assert found.tolist() == [10, 10, 20, 20, 30, 30]


@given(st.lists(st.tuples(st.integers(0, 20), st.integers(1, 4)), min_size=1), st.floats(0, 1))
def test_a_weighted_quantile_is_the_quantile_of_the_repeated_values(rows, share):
    """With whole weights it is the smallest repeated value with that share at or below it."""
    repeated = sorted(value for value, weight in rows for _ in range(weight))
    place = max(math.ceil(share * len(repeated) - 1e-9) - 1, 0)
    found = weighted_quantile([value for value, _ in rows], [weight for _, weight in rows], [share])
    assert found[0] in {repeated[place], repeated[min(place + 1, len(repeated) - 1)]}
    assert np.mean(np.array(repeated) <= found[0]) >= share - 1e-9


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: theil_sen([1, 1], [2, 3]), "x: all are equal"),
        (lambda: theil_sen([], []), "x: all are equal"),
        (lambda: kendall([1, 2], [3, 3]), "y: all are equal"),
        (lambda: weighted_quantile([1], [0], [0.5]), "weights: there is none"),
    ],
)
def test_too_little_to_tell_is_one_error(call, message):
    """Where nothing can be told from the figures, the error says what would be needed."""
    with pytest.raises(TooFewLives, match=message):
        call()


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: theil_sen([1, 2], [2]), "y: it has 1 rows"),
        (lambda: theil_sen([1, 2], [2, float("inf")]), "row 1: y: it is infinite"),
        (lambda: theil_sen([1, None], [2, 3]), "row 1: x: it is not a number"),
        (lambda: theil_sen([1, 2], [2, 3], level=1), "level: it is 1"),
        (lambda: weighted_quantile([1, 2], [1, -1], [0.5]), "row 1: weights: it is no weight"),
        (lambda: weighted_quantile([1], [1], [50]), "row 0: shares: it is no share"),
    ],
)
def test_a_figure_that_makes_no_sense_is_named(call, message):
    """Unequal columns, infinite figures and shares outside 0 to 1 are named."""
    with pytest.raises(BadLives, match=message):
        call()
