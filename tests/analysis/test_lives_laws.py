"""Weibull and lognormal laws of lives: invariants, recovery, and lives that settle none."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import optimize, stats

from ledger.analysis.lives import BadLives, TooFewLives, lognormal, weibull
from tests.long import times

FITS = times(300, usual=100)

INFINITE = float("inf")


def inspected_lives(random, count, shape, scale, gap):
    """Weibull lives looked at every `gap` or so, each until a random end of watching."""
    lives = scale * random.weibull(shape, count)
    gaps, watched = gap * random.uniform(0.5, 1.5, count), scale * random.uniform(0.6, 2.0, count)
    looks = np.floor(np.minimum(lives, watched) / gaps) * gaps
    return looks, np.where(looks + gaps <= watched, looks + gaps, INFINITE)


def most_likely(lower, upper, entry=0.0):
    """Give scale and shape where the Weibull likelihood of bounded lives is highest, by scipy."""

    def cost(logs):
        law = stats.weibull_min(np.exp(logs[1]), scale=np.exp(logs[0]))
        return -(np.log(law.sf(lower) - law.sf(upper)) - law.logsf(entry)).sum()

    start = [np.log(np.mean(lower) + 1), 0.3]
    found = optimize.minimize(cost, start, method="Nelder-Mead", options={"xatol": 1e-9})
    return np.exp(found.x)


def test_bounded_lives_give_the_law_a_plain_search_finds():
    """The law of patients seen now and then is the top of the likelihood, found without it."""
    # Borch-Johnsen, Andersen and Deckert, Diabetologia 28 (1985), as lifelines ships it:
    # 731 patients, months of onset of nephropathy between two visits
    from lifelines.datasets import load_diabetes

    patients = load_diabetes()
    lower, upper = patients["left"].to_numpy(float), patients["right"].to_numpy(float)
    upper = np.where(lower == upper, upper + 0.5, upper)
    law = weibull(lower, upper)
    assert [law.scale, law.shape] == pytest.approx(most_likely(lower, upper), rel=1e-4)


def test_late_watching_gives_the_law_a_plain_search_finds():
    """Lives watched from an entry on give the top of the likelihood given that entry."""
    random = np.random.default_rng(11)
    lower, upper = inspected_lives(random, 400, 2.0, 3000, 500)
    entry = 900 * random.uniform(size=400)
    is_seen = lower > entry
    law = weibull(lower[is_seen], upper[is_seen], entry=entry[is_seen])
    found = most_likely(lower[is_seen], upper[is_seen], entry[is_seen])
    assert [law.scale, law.shape] == pytest.approx(found, rel=1e-4)
    unaware = weibull(lower[is_seen], upper[is_seen])
    assert unaware.scale > law.scale
    assert unaware.shape > 1.05 * law.shape


def test_lives_seen_to_the_point_give_the_exact_fit():
    """With lower equal to upper everywhere the law is scipy's fit of the lives themselves."""
    lives = 2500 * np.random.default_rng(3).weibull(2.2, 60)
    law, plain = weibull(lives, lives), stats.weibull_min.fit(lives, floc=0)
    assert [law.shape, law.scale] == pytest.approx([plain[0], plain[2]], rel=1e-4)
    assert law.log_likelihood == pytest.approx(stats.weibull_min.logpdf(lives, *plain).sum())


def test_the_exact_lognormal_is_the_mean_and_deviation_of_logarithms():
    """With every end seen the lognormal law is the logarithms' mean and root mean square."""
    lives = np.array([700, 900, 1600, 2100, 4000.0])
    law = lognormal(lives, lives)
    logs = np.log(lives)
    assert [law.location, law.spread] == pytest.approx([logs.mean(), logs.std()], rel=1e-6)


@settings(max_examples=12)
@given(
    factor=st.floats(1e-4, 1e6),
    seed=st.integers(0, 10_000),
    fit=st.sampled_from([weibull, lognormal]),
)
def test_the_unit_of_length_scales_the_law_and_changes_nothing_else(factor, seed, fit):
    """Lives in another unit have the same spread, and a location moved by the unit's logarithm."""
    lower, upper = inspected_lives(np.random.default_rng(seed), 40, 2.0, 1.0, 0.3)
    law, scaled = fit(lower, upper), fit(lower * factor, upper * factor)
    assert scaled.spread == pytest.approx(law.spread, rel=1e-5)
    assert scaled.location == pytest.approx(law.location + np.log(factor), abs=1e-5)
    assert scaled.covariance == pytest.approx(law.covariance, rel=1e-3)
    assert scaled.log_likelihood == pytest.approx(law.log_likelihood, abs=1e-6)


@settings(max_examples=12)
@given(seed=st.integers(0, 10_000), share=st.floats(0.01, 0.99))
def test_a_quantile_is_where_the_survival_says(seed, share):
    """By the quantile of a share just that share is over, and each band holds its curve."""
    lower, upper = inspected_lives(np.random.default_rng(seed), 40, 1.5, 3000, 400)
    law = weibull(lower, upper)
    at = law.quantile(share)
    assert at.lower < at.value < at.upper
    band = law.survival([0.0, at.value, 1e6])
    assert band.value[:2] == pytest.approx([1, 1 - share])
    assert (band.lower <= band.value).all()
    assert (band.value <= band.upper).all()


@pytest.mark.parametrize("fit", [weibull, lognormal])
def test_a_weight_is_that_many_rows(fit):
    """A row of weight 3 fits as three rows do, and one of weight 0 as none."""
    rows = fit([0, 10, 10, 10, 20, 30], [10, 20, 20, 20, 30, INFINITE])
    law = fit([0, 10, 20, 30, 5], [10, 20, 30, INFINITE, 6], weights=[1, 3, 1, 1, 0])
    assert [law.location, law.spread] == pytest.approx([rows.location, rows.spread], rel=1e-6)
    assert law.log_likelihood == pytest.approx(rows.log_likelihood)


def test_lives_of_tens_of_thousands_of_kilometres_are_fitted():
    """A hundred such lives, known between looks, give back their law."""
    lower, upper = inspected_lives(np.random.default_rng(5), 100, 2.5, 40_000, 6_000)
    law = weibull(lower, upper)
    assert law.shape_interval[0] < 2.5 < law.shape_interval[1]
    assert law.scale_interval[0] < 40_000 < law.scale_interval[1]


@pytest.mark.slow
@pytest.mark.parametrize("shape", [0.9, 2.5])
def test_intervals_hold_the_truth_as_often_as_they_say(shape):
    """Of FITS to 50 lives, the 90 % intervals hold scale, shape and median in 85 to 95 %."""
    random, held = np.random.default_rng(20), []
    median = 3000 * np.log(2) ** (1 / shape)
    for _ in range(FITS):
        law = weibull(*inspected_lives(random, 50, shape, 3000, 500), level=0.9)
        middle = law.quantile(0.5)
        pairs = [(law.scale_interval, 3000), (law.shape_interval, shape)]
        pairs += [((middle.lower, middle.upper), median)]
        band = law.survival([median])
        pairs += [((band.lower[0], band.upper[0]), 0.5)]
        held.append([low < truth < high for (low, high), truth in pairs])
    assert (np.abs(np.mean(held, axis=0) - 0.9) < 0.05).all()


@pytest.mark.parametrize(
    ("lower", "upper", "reason"),
    [
        ([5, 6, 7], [None, None, None], "0 of 3 are over"),
        ([100], [200], "1 of 1 are over"),
        ([5, 5, 5], [5, 5, 5], "3 of 3 are over, at fewer than two"),
        ([0, 5, 10], [20, 15, 12], "all may have ended at one length"),
        ([0, 10, 10, 3], [10, 20, 20, None], "all may have ended at one length"),
        ([0, 0, 40, 90], [10, 20, None, None], "did not settle"),
        ([], [], "0 of 0 are over"),
    ],
)
@pytest.mark.parametrize("fit", [weibull, lognormal])
def test_lives_that_settle_no_law_are_said_to_be_too_few(fit, lower, upper, reason):
    """Lives that fit laws without end raise one error with the reason, and print nothing."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(TooFewLives, match=reason):
            fit(lower, upper)


@settings(max_examples=60)
@given(
    st.lists(
        st.tuples(st.floats(0, 1e5), st.floats(0, 1e5) | st.just(INFINITE) | st.just(0.0)),
        max_size=6,
    )
)
def test_any_lives_give_a_law_or_one_error(pairs):
    """Whatever the bounds, there is a law of finite figures or a `TooFewLives`, no warning."""
    lower = [low for low, _ in pairs]
    upper = [max(low + more, 1e-3) for low, more in pairs]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            law = weibull(lower, upper)
        except TooFewLives:
            return
        told = [law.shape, law.scale, law.mean, law.standard_deviation, *law.shape_interval]
        assert np.isfinite([*told, *law.scale_interval, *law.quantile(0.1), law.aic]).all()


@pytest.mark.parametrize(
    ("lower", "upper", "more", "message"),
    [
        ([1, 9], [2, 8], {}, "row 1: upper: it is below lower"),
        ([1, float("nan")], [2, 8], {}, "row 1: lower: it is not a number"),
        ([1, None], [2, 8], {}, "row 1: lower: it is not a number"),
        ([1, 2], np.array([2, np.nan]), {}, "row 1: upper: it is not a number"),
        ([0, 2], [0, 8], {}, "row 0: upper: a life cannot be over at 0"),
        ([-1, 2], [3, 8], {}, "row 0: lower: a life begins at 0"),
        ([1, 2], [3], {}, "upper: it has 1 rows where the first has 2"),
        ([1, "worn"], [3, 4], {}, "lower: some of it is not a number"),
        ([1, 2], [3, 4], {"entry": [0, 3]}, "row 1: entry: it is past lower"),
        ([1, 2], [3, 4], {"weights": [1, -1]}, "row 1: weights: it counts lives"),
        ([1, 2], [3, 4], {"level": 95}, "level: it is 95"),
    ],
)
def test_a_row_that_cannot_be_a_life_is_named(lower, upper, more, message):
    """Bounds, entries, weights and levels that make no sense are named with row and field."""
    with pytest.raises(BadLives, match=message):
        weibull(lower, upper, **more)
