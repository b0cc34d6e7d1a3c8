"""Rates of few events, drawn together: published figures, other libraries and recovery."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import special, stats

from ledger.analysis.counted_grid import Nodes
from ledger.analysis.counted_likelihood import Counts
from ledger.analysis.counted_rates import counted_rates
from ledger.analysis.life_bounds import BadLives, TooFewLives

# Ten pumps: failures and thousands of hours. Gaver and O'Muircheartaigh, Technometrics 29 (1987),
# as printed at pmean.com/11/Hierarchical.html.
PUMPS = (
    [5, 1, 5, 14, 3, 19, 1, 1, 4, 22],
    [94.3, 15.7, 62.9, 126, 5.24, 31.4, 1.05, 1.05, 2.1, 10.5],
)
UNITS = st.lists(st.tuples(st.integers(0, 30), st.floats(0.1, 50)), min_size=1, max_size=12)


def test_pumps_by_the_greatest_marginal_likelihood():
    """Alpha, beta, likelihood and posterior means as worked out apart from this code."""
    found = counted_rates(*PUMPS)
    assert found.alpha == pytest.approx(0.822965, abs=5e-7)
    assert found.beta == pytest.approx(1.261653, abs=5e-7)
    assert found.log_likelihood == pytest.approx(-32.257836, abs=5e-7)
    assert found.pooled_rate == pytest.approx(0.214139, abs=5e-7)
    means = [0.0609, 0.1075, 0.0908, 0.1165, 0.5880, 0.6069, 0.7886, 0.7886, 1.4347, 1.9405]
    assert found.rate == pytest.approx(means, abs=5e-5)


def test_pumps_by_full_bayes_with_the_published_priors():
    """Alpha ~ Exp(1) and beta ~ Gamma(0.1, 1) give the means printed for them.

    The manual of BUGS prints alpha 0.70, beta 0.93 and a first rate of 0.0598 (from memory); more
    digits are from a grid worked out apart from this code.
    """
    found = counted_rates(*PUMPS, log_prior=lambda alpha, beta: -alpha - 0.9 * np.log(beta) - beta)
    assert found.full_alpha == pytest.approx(0.6972, abs=5e-5)
    assert found.full_beta == pytest.approx(0.9268, abs=5e-5)
    means = [0.05982, 0.10183, 0.08924, 0.11579, 0.60134, 0.60939, 0.89254, 0.89254, 1.58631]
    assert found.full_rate[:9] == pytest.approx(means, abs=1e-5)
    assert found.full_rate[9] == pytest.approx(1.98983, abs=1e-5)


def test_known_prior_is_conjugate_arithmetic():
    """Gamma(10, 2) and counts 6, 2, 2, 1 give Gamma(21, 6): mean 3.5, variance 0.583333.

    The case is of Johnson, Ott and Dogucu, Bayes Rules! (from memory). A prior that is narrow
    about (10, 2) stands for one known to the point; the four counts are one unit's in 4 periods.
    """

    def nearly_known(alpha, beta):
        return -((np.log(alpha / 10) / 0.01) ** 2 + (np.log(beta / 2) / 0.01) ** 2) / 2

    found = counted_rates([6 + 2 + 2 + 1], [4.0], log_prior=nearly_known)
    assert found.full_rate[0] == pytest.approx(3.5, rel=2e-3)
    assert found.low[0] == pytest.approx(stats.gamma(21, scale=1 / 6).ppf(0.025), rel=5e-3)
    assert found.high[0] == pytest.approx(stats.gamma(21, scale=1 / 6).ppf(0.975), rel=5e-3)


def test_the_likelihood_is_that_of_the_negative_binomial():
    """At the alpha and beta found it is the sum of scipy's log probabilities."""
    count, exposure = np.array(PUMPS[0]), np.array(PUMPS[1])
    found = counted_rates(count, exposure)
    law = stats.nbinom(found.alpha, found.beta / (found.beta + exposure))
    assert found.log_likelihood == pytest.approx(law.logpmf(count).sum(), abs=1e-9)


@given(UNITS, st.floats(0.7, 1.4), st.floats(0.7, 1.4))
@settings(deadline=None, max_examples=40)
def test_no_other_alpha_and_beta_are_likelier(units, more, wider):
    """Neighbours of the parameters found never have a greater likelihood."""
    count, exposure = (np.array(column, dtype=float) for column in zip(*units, strict=True))
    found = counted_rates(count, exposure)
    alpha = 1e6 if found.is_alike else found.alpha * more
    mean = (found.mean_rate or 1e-3) * wider
    other = stats.nbinom(alpha, alpha / (alpha + mean * exposure)).logpmf(count).sum()
    assert other <= found.log_likelihood + 1e-4


@given(UNITS)
@settings(deadline=None, max_examples=40)
def test_every_rate_is_drawn_towards_what_all_have_in_common(units):
    """Posterior means lie between a unit's own rate and the mean; wide intervals hold them."""
    count, exposure = zip(*units, strict=True)
    found = counted_rates(count, exposure)
    near, far = (
        np.minimum(found.own_rate, found.mean_rate),
        np.maximum(found.own_rate, found.mean_rate),
    )
    if found.is_alike:
        assert found.rate == pytest.approx(np.full(len(count), found.pooled_rate))
    else:
        assert (near <= found.rate * (1 + 1e-9)).all()
        assert (found.rate <= far * (1 + 1e-9)).all()
    assert ((found.low <= found.full_rate) & (found.full_rate <= found.high)).all()
    assert ((found.chance_above >= 0) & (found.chance_above <= 1)).all()


@given(UNITS, st.floats(0.01, 100))
@settings(deadline=None, max_examples=25)
def test_the_unit_of_exposure_does_not_matter(units, scale):
    """Years or days: rates change by the factor, chances and alpha not at all."""
    count, exposure = zip(*units, strict=True)
    one = counted_rates(count, exposure)
    other = counted_rates(count, [scale * length for length in exposure])
    assert other.high * scale == pytest.approx(one.high, rel=1e-4)
    assert other.chance_above == pytest.approx(one.chance_above, abs=1e-4)
    assert other.is_alike == one.is_alike


def chance_below(count, exposure, unit, rate):
    """Sum the whole posterior up on a fine grid: the chance that a unit's rate is below one."""
    spread = np.expm1((np.arange(400) + 0.5) / 400 * np.log(101))[:, None]
    mean = np.exp(np.linspace(-60, 60, 2001))
    due = mean * exposure.mean()
    logs = np.log(due / (1 + spread * due)) / 2
    for events, length in zip(count, exposure, strict=True):
        logs = logs + stats.nbinom.logpmf(events, 1 / spread, 1 / (1 + spread * mean * length))
    weight = np.exp(logs - logs.max())
    shape, along = 1 / spread + count[unit], 1 / (spread * mean) + exposure[unit]
    return (weight * special.gammainc(shape, along * rate)).sum() / weight.sum()


def test_the_intervals_are_those_of_the_whole_posterior():
    """Two units: their 80 % limits cut 10 % off either side of the sum over a fine grid."""
    count, exposure = np.array([2.0, 7.0]), np.array([3.0, 2.0])
    found = counted_rates(count, exposure, level=0.8)
    for unit in (0, 1):
        low = chance_below(count, exposure, unit, found.low[unit])
        high = chance_below(count, exposure, unit, found.high[unit])
        assert [low, high] == pytest.approx([0.1, 0.9], abs=1e-3)


def test_what_is_open_of_alpha_and_beta_widens_a_rate():
    """Gamma(4, 4) or Gamma(12, 4), a half each: mean 2, variance 0.5 within and 1 between."""
    nodes = Nodes(np.array([3.0, 11.0]), np.array([3.0, 3.0]), np.array([0.5, 0.5]))
    mean, variance = nodes.moments(Counts(np.array([1.0]), np.array([1.0])))
    assert mean[0] == pytest.approx(2.0)
    assert variance[0] == pytest.approx((4 / 16 + 12 / 16) / 2 + 1.0)


def test_units_that_do_not_differ_have_the_pooled_rate():
    """Alpha is infinite, nobody stands out, and the wide interval still has a width."""
    found = counted_rates([2, 2, 2, 2], [1, 1, 1, 1])
    assert found.is_alike and np.isinf(found.beta)
    assert found.rate == pytest.approx([2, 2, 2, 2])
    assert found.chance_above == pytest.approx([0.5] * 4, abs=0.05)
    assert (found.low < 1.2).all() and (found.high > 3).all()


def test_a_single_unit_has_its_own_rate():
    """Nothing to be drawn to: its own rate, with an interval about that of a Poisson count."""
    found = counted_rates([12], [4.0])
    assert found.rate == pytest.approx([3.0])
    exact = stats.gamma(12.5, scale=1 / 4).ppf([0.025, 0.975])
    assert [found.low[0], found.high[0]] == pytest.approx(exact, rel=0.06)


def test_nothing_ever_happened():
    """No events at all: rates of 0, nobody above it, and a limit that shrinks with exposure."""
    short, long = counted_rates([0, 0], [1, 1]), counted_rates([0, 0], [100, 100])
    assert short.rate == pytest.approx([0, 0]) and short.chance_above == pytest.approx([0.5, 0.5])
    assert (long.high > 0).all() and long.high == pytest.approx(short.high / 100, rel=1e-4)


def test_what_was_not_watched_is_refused_with_its_row():
    """The row, the field and what would be right are named."""
    with pytest.raises(BadLives, match="row 1: exposure: nothing was watched"):
        counted_rates([1, 0], [2, 0])
    with pytest.raises(BadLives, match="row 0: count: it is no count"):
        counted_rates([-1, 0], [2, 1])
    with pytest.raises(BadLives, match="exposure: it has 1 rows"):
        counted_rates([1, 0], [2])
    with pytest.raises(TooFewLives):
        counted_rates([], [])


def coverage(count_units, shape, seed, count_shops=250):
    """Give how often 90 % intervals hold the true rates: wide ones and plain ones."""
    rng = np.random.default_rng(seed)
    wide, plain = [], []
    for _ in range(count_shops):
        true = rng.gamma(shape, 0.5 / shape, count_units) if shape else np.full(count_units, 0.5)
        exposure = rng.gamma(2.0, 2.0, count_units)
        found = counted_rates(rng.poisson(true * exposure), exposure, level=0.9)
        wide.append((found.low <= true) & (true <= found.high))
        plain.append((found.plain_low <= true) & (true <= found.plain_high))
    return np.mean(wide), np.mean(plain)


def test_wide_intervals_hold_the_true_rates_where_units_are_few():
    """Eight units: 88 to 94 % of true rates in 90 % intervals; the plain ones hold far fewer."""
    wide, plain = coverage(8, 2.0, seed=11)
    assert 0.88 <= wide <= 0.94
    assert plain < 0.8


def test_wide_intervals_hold_the_true_rates_where_units_are_many():
    """Sixty units of few events: 88 to 92 %."""
    wide, _ = coverage(60, 1.0, seed=12, count_shops=60)
    assert 0.88 <= wide <= 0.92


def test_wide_intervals_hold_the_one_rate_of_units_that_do_not_differ():
    """Where all have one rate the intervals are on the safe side: 95 % and more of 90 %."""
    wide, _ = coverage(15, None, seed=13, count_shops=100)
    assert wide >= 0.95


def test_nobody_stands_out_where_nobody_differs():
    """Of 200 shops of 12 alike units, few have a unit above with a chance of 97.5 %."""
    rng = np.random.default_rng(14)
    out = 0
    for _ in range(200):
        exposure = rng.gamma(2.0, 2.0, 12)
        found = counted_rates(rng.poisson(0.5 * exposure), exposure)
        out += int((found.chance_above > 0.975).sum())
    assert out / (200 * 12) < 0.01
