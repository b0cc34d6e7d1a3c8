"""Curves of lives without a law: invariants, and lives known between looks."""

from __future__ import annotations

import warnings

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.lives import BadLives, TooFewLives, interval_curve, kaplan_meier
from ledger.analysis.turnbull import innermost, most_likely_shares

INFINITE = float("inf")

LENGTHS = st.integers(1, 12).map(float)
BOUNDED = st.lists(
    st.tuples(st.integers(0, 12), st.integers(0, 6) | st.just(INFINITE)), min_size=1, max_size=12
)


def is_a_falling_curve(curve) -> bool:
    """Say whether a curve begins whole, never rises, keeps within its band and holds no NaN."""
    columns = [curve.survival, curve.lower, curve.upper]
    is_ordered = (np.diff(curve.times) > 0).all() and (curve.starts <= curve.times).all()
    is_falling = all((np.diff(column) <= 1e-9).all() for column in columns)
    is_share = all(((column >= 0) & (column <= 1)).all() for column in columns)
    return bool(is_ordered and is_falling and is_share and curve.survival[0] == 1)


@given(st.lists(LENGTHS, min_size=1, max_size=15))
def test_without_lives_in_use_the_curve_is_the_share_still_good(lives):
    """With every end seen, the curve at each length is the plain share of longer lives."""
    curve = kaplan_meier(lives, [True] * len(lives))
    share = [np.mean(np.array(lives) > time) for time in curve.times]
    assert curve.survival == pytest.approx(share, abs=1e-9)
    assert is_a_falling_curve(curve)


@given(st.lists(st.tuples(LENGTHS, st.booleans()), min_size=1, max_size=15))
def test_the_band_is_never_nan_and_holds_the_curve(rows):
    """Whatever lives are over or in use, the curve falls within its band and warns of nothing."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        curve = kaplan_meier([length for length, _ in rows], [is_over for _, is_over in rows])
    assert is_a_falling_curve(curve)
    assert (curve.lower <= curve.survival + 1e-9).all()
    assert (curve.survival <= curve.upper + 1e-9).all()


FEW = {
    "one": [1000],
    "five alike": [1000] * 5,
    "four alike and one": [1000] * 4 + [2000],
    "two": [900, 1000],
}


@pytest.mark.parametrize("which", FEW)
def test_of_few_or_like_lives_no_band_is_of_width_nought(which):
    """Before the first fall and once all are over the band is the exact binomial limits'."""
    lives = FEW[which]
    first, count = lives.count(min(lives)), len(lives)
    for curve in (
        kaplan_meier(lives, [True] * count),
        interval_curve(lives, lives),
        interval_curve([one - 100 for one in lives], lives),
    ):
        assert is_a_falling_curve(curve)
        assert (curve.upper - curve.lower > 0.1).all()
        assert curve.upper[0] == 1
        assert curve.lower[0] == pytest.approx(0.025 ** (1 / count))
        if first == count:
            assert curve.lower[-1] == 0
            assert curve.upper[-1] == pytest.approx(1 - 0.025 ** (1 / count))


def test_where_no_life_was_over_the_band_is_that_of_one_watched_to_the_end():
    """Nobody knows how long the others would have gone on."""
    for curve in (kaplan_meier([5, 6], [0, 0]), interval_curve([5, 6], [None, None])):
        assert (curve.lower.tolist(), curve.upper.tolist()) == ([pytest.approx(0.025)], [1])


@given(st.lists(st.tuples(LENGTHS, st.booleans()), min_size=1, max_size=12))
def test_no_lives_have_a_band_of_width_nought(rows):
    """Whatever lives are over or in use, the band is open and holds the curve."""
    lengths, is_over = [length for length, _ in rows], [end for _, end in rows]
    ends = [length if end else None for length, end in rows]
    for curve in (kaplan_meier(lengths, is_over), interval_curve(lengths, ends, resamples=20)):
        assert is_a_falling_curve(curve)
        assert (curve.upper - curve.lower > 1e-3).all()


def test_the_exact_limits_hold_the_truth_as_often_as_said():
    """Before the first fall of six exponential lives the band's lower end holds 97.5 %."""
    random, held = np.random.default_rng(3), 0
    for _ in range(400):
        lives = random.exponential(1000, 6) + 1
        curve = kaplan_meier(lives, [True] * 6)
        held += np.exp(-(curve.times[1] - 1) / 1000) >= curve.lower[0]
    assert held >= 0.955 * 400


def test_lives_watched_late_count_only_from_then():
    """A life that entered at 5 is not at risk of the end at 3."""
    curve = kaplan_meier([3, 6, 8], [1, 1, 0], entry=[0, 5, 0])
    assert curve.times.tolist() == [0, 3, 6]
    assert curve.at_risk.tolist() == [2, 2, 2]
    assert curve.survival == pytest.approx([1, 1 / 2, 1 / 4])


def test_greenwoods_band_is_the_formulas():
    """The band is S ** exp(±z se / log S) with Greenwood's variance, worked out by hand."""
    curve = kaplan_meier([2, 3, 4, 5], [1, 0, 1, 0], level=0.9)
    share, variance = 3 / 4 * 1 / 2, 1 / (4 * 3) + 1 / (2 * 1)
    half = 1.6448536 * np.sqrt(variance) / abs(np.log(share))
    band = [curve.lower[2], curve.upper[2]]
    assert band == pytest.approx([share ** np.exp(half), share ** np.exp(-half)], abs=1e-6)


def test_a_curve_is_asked_at_any_length_and_for_its_median():
    """Between falls the share stands; the median is the first length with half over, or none."""
    curve = kaplan_meier([10, 20, 30, 40], [1, 1, 0, 0])
    assert curve.at([0, 9, 10, 25, 99]) == pytest.approx([1, 1, 0.75, 0.5, 0.5])
    assert curve.median() == 20
    assert kaplan_meier([10, 20, 30], [1, 0, 0]).median() is None


def test_nothing_over_is_a_curve_that_does_not_fall():
    """Where all parts are still in use the curve is 1 at 0 and nothing more."""
    for curve in (kaplan_meier([5, 6], [0, 0]), interval_curve([5, 6], [None, None])):
        assert (curve.times.tolist(), curve.survival.tolist()) == ([0], [1])
        assert curve.at_risk.tolist() == [2]


def within(among, lower, upper):
    """Say which interval lies within which life, by their bounds: shape (lives, intervals)."""
    is_after = (lower[:, None] < among.starts) | (
        (lower[:, None] == among.starts) & ((among.starts < among.ends) | (lower == upper)[:, None])
    )
    return is_after & (among.ends <= upper[:, None])


def test_lives_known_between_looks_give_the_librarys_shares():
    """The shares of 731 patients seen now and then are lifelines', and no less likely."""
    # Borch-Johnsen, Andersen and Deckert, Diabetologia 28 (1985), as lifelines ships it. Its table
    # of survival puts an end seen to the point one row late, so its shares are compared.
    from lifelines.datasets import load_diabetes
    from lifelines.fitters.npmle import npmle

    patients = load_diabetes()
    lower, upper = patients["left"].to_numpy(float), patients["right"].to_numpy(float)
    among = innermost(lower, upper)
    share = most_likely_shares(among, np.ones((1, len(lower))))[0]
    holds = within(among, lower, upper)
    # the library takes both bounds as within; ours leaves lower out where the end was not seen
    closed = np.where(lower < upper, lower + 1e-6, lower)
    theirs, intervals = npmle(closed, upper, tol=1e-7)
    theirs = theirs / theirs.sum()
    assert among.ends.tolist() == [interval.right for interval in intervals]
    assert np.cumsum(share) == pytest.approx(np.cumsum(theirs), abs=2e-3)
    assert np.log(holds @ share).sum() >= np.log(holds @ theirs).sum() - 1e-6


@given(BOUNDED)
def test_the_curve_is_the_most_likely_one(rows):
    """No interval's gradient a life is above 1: the condition only the optimum meets."""
    lower = np.array([low for low, _ in rows], dtype=float)
    upper = np.maximum(lower + np.array([more for _, more in rows]), 1.0)
    among = innermost(lower, upper)
    share = most_likely_shares(among, np.ones((1, len(lower))))[0]
    holds = within(among, lower, upper)
    assert share.sum() == pytest.approx(1)
    gradient = (holds / (holds @ share)[:, None]).mean(axis=0)
    assert gradient.max() <= 1 + 1e-5


@settings(max_examples=40)
@given(BOUNDED)
def test_a_curve_of_bounded_lives_falls_within_0_and_1(rows):
    """Whatever the bounds, the curve and its band fall from 1 and hold no NaN."""
    lower = [float(low) for low, _ in rows]
    upper = [max(low + more, 1.0) for low, more in rows]
    assert is_a_falling_curve(interval_curve(lower, upper, resamples=20))


def test_the_fall_is_only_known_to_lie_in_an_interval():
    """Two overlapping lives fall somewhere in the overlap, and the curve says from where."""
    curve = interval_curve([0, 100, 400], [200, 300, None])
    assert (curve.starts.tolist(), curve.times.tolist()) == ([0, 100], [0, 200])
    assert curve.survival == pytest.approx([1, 1 / 3], abs=1e-5)


def test_the_bootstrap_band_holds_the_truth():
    """For exponential lives looked at four times, the 90 % band holds the truth 84 to 96 times."""
    random, held = np.random.default_rng(8), 0
    for _ in range(100):
        lives = random.exponential(2.0, 60)
        upper = np.where(lives < 4, np.ceil(lives), INFINITE)
        curve = interval_curve(np.minimum(np.ceil(lives) - 1, 4), upper, level=0.9)
        held += int(curve.lower[2] <= np.exp(-1) <= curve.upper[2])
    assert 84 <= held <= 96


def test_the_same_seed_gives_the_same_band():
    """The band is drawn from a seed: twice the same, and another with another."""
    lower, upper = [0, 2, 4, 6, 3], [2, 4, 6, 9, None]
    first, again = (interval_curve(lower, upper, seed=4) for _ in range(2))
    assert first.lower.tolist() == again.lower.tolist()
    assert first.lower.tolist() != interval_curve(lower, upper, seed=5).lower.tolist()


def test_arrow_columns_are_taken_as_they_are():
    """Null in an Arrow column of upper bounds is a part still in use."""
    table = pa.table({"lower": [0, 5, 7], "upper": [5, None, 8]})
    curve = interval_curve(table["lower"], table["upper"].combine_chunks())
    plain = interval_curve([0, 5, 7], [5, None, 8])
    assert curve.survival.tolist() == plain.survival.tolist()


@pytest.mark.parametrize(
    ("duration", "is_observed", "message"),
    [
        ([5, 0], [1, 1], "row 1: duration: a life cannot be over at 0"),
        ([5, -1], [1, 0], "row 1: duration: it is no length"),
        ([5, float("nan")], [1, 0], "row 1: duration: it is not a number"),
        ([5, INFINITE], [1, 0], "row 1: duration: it is no length"),
        ([5, 6], [1], "is_observed: it has 1 rows where the first has 2"),
        ([5, 6], [1, None], "row 1: is_observed: it is not a number"),
    ],
)
def test_a_row_that_cannot_be_a_duration_is_named(duration, is_observed, message):
    """Durations that make no sense are named with row and field."""
    with pytest.raises(BadLives, match=message):
        kaplan_meier(duration, is_observed)


def test_an_entry_past_the_end_is_named():
    """A life that would have been over before watching began cannot have been seen."""
    with pytest.raises(BadLives, match="row 1: entry: it is not before the end"):
        kaplan_meier([5, 6], [1, 1], entry=[0, 6])


@pytest.mark.parametrize("curve", [kaplan_meier, interval_curve])
def test_no_lives_have_no_curve(curve):
    """Nothing in, one clear error out."""
    with pytest.raises(TooFewLives, match="A curve needs one"):
        curve([], [])
