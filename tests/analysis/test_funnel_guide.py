"""The smooth curve behind the funnel, and the words beside it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, hypergeom

from ledger.analysis.funnel import funnel, guide
from ledger.analysis.funnel_rows import in_shops_of_ten
from ledger.analysis.life_bounds import BadLives


@given(st.integers(2, 400), st.floats(0.02, 0.5), st.sampled_from([0.8, 0.95, 0.998]))
@settings(deadline=None, max_examples=80)
def test_whole_sizes_are_marked_as_by_the_binomial_law(size, rate, level):
    """On or beyond the curve are just the counts whose tail is (1 - level) / 2 or less."""
    drawn = guide([size], rate, level=level)
    count = np.arange(size + 1)
    tail = (1 - level) / 2
    many, few = binom.sf(count - 1, size, rate), binom.cdf(count, size, rate)
    is_clear = (np.abs(many - tail) > 1e-9) & (np.abs(few - tail) > 1e-9)
    above = count >= drawn.high_rate[0] * size - 1e-7
    below = count <= drawn.low_rate[0] * size + 1e-7
    if drawn.high_rate[0] < 1:
        assert (above == (many <= tail))[is_clear].all()
    if drawn.low_rate[0] > 0:
        assert (below == (few <= tail))[is_clear].all()


def test_the_curve_narrows_with_size_about_the_rate():
    """A funnel: the limits close in on the rate and never cross it."""
    drawn = guide(np.arange(1, 2000, 7), 0.08)
    assert (np.diff(drawn.high_rate) <= 1e-12).all() and (np.diff(drawn.low_rate) >= -1e-12).all()
    assert (drawn.low_rate <= 0.08).all() and (drawn.high_rate >= 0.08).all()
    assert drawn.high_rate[-1] < 0.1


def test_a_unit_that_is_half_of_all_has_half_the_variance():
    """Of 600 repairs, 300: the curve lies near the exact limits of drawing without replacement."""
    drawn = guide([300], 0.08, of_total=600)
    law = hypergeom(600, 48, 300)
    assert drawn.high_rate[0] * 300 == pytest.approx(law.isf(0.025) + 1, abs=1.5)
    assert drawn.low_rate[0] * 300 == pytest.approx(law.ppf(0.025) - 1, abs=1.5)
    assert drawn.high_rate[0] < guide([300], 0.08).high_rate[0]


def test_words_say_what_was_seen_and_what_chance_gives():
    """Marked, unmarked and too few: three kinds of words."""
    marked, other = funnel([48, 24], [300, 300]).rows
    assert marked.words == "more than chance: 48 of 300 came back, 28 to 44 could be chance"
    assert other.words == "fewer than chance: 24 of 300 came back, 28 to 44 could be chance"
    alike = funnel([40, 42], [500, 500]).rows[0]
    assert alike.words == "no more than chance: 40 of 500 came back, 33 to 49 could be chance"
    few = funnel([1, 42], [9, 500]).rows[0]
    assert few.words.startswith("too few to judge: with 9 repairs a doubled rate would be seen ")


@pytest.mark.parametrize(
    ("power", "words"),
    [
        (0.01, "hardly ever"),
        (0.06, "in 1 shop of 10"),
        (0.31, "in 3 shops of 10"),
        (0.97, "nearly always"),
    ],
)
def test_powers_in_shops_of_ten(power, words):
    """Rounded to whole shops, and to words at either end."""
    assert in_shops_of_ten(power) == words


def test_bad_sizes_are_named():
    """A size of none, or above the total, is refused with its row."""
    with pytest.raises(BadLives, match="row 1: size"):
        guide([10, 0], 0.08)
    with pytest.raises(BadLives, match="row 0: size"):
        guide([700], 0.08, of_total=600)
    with pytest.raises(BadLives, match="rate"):
        guide([10], 1.2)
