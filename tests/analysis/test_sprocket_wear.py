"""Sprockets wear faster under a chain past its limit: what is learned of it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.sprockets import fit_sprocket_wear, mean_excess, sprocket_seen
from ledger.analysis.unfit import CannotFit


@pytest.mark.parametrize(
    ("start", "end", "excess"),
    [(0.0, 0.5, 0.0), (0.0, 1.0, 0.25), (0.5, 1.0, 0.5), (1.0, 1.0, 1.0), (0.0, 1.5, 2 / 3)],
)
def test_the_mean_excess_of_a_chain_by_hand(start: float, end: float, excess: float) -> None:
    """With a limit of 0.5, from new to 1.0 half the way is over, by half a limit on average."""
    assert mean_excess(start, end, 0.5) == pytest.approx(excess)


@settings(max_examples=50, deadline=None)
@given(start=st.floats(0, 2), grown=st.floats(0.001, 2), limit=st.floats(0.2, 1.2))
def test_the_mean_excess_is_the_integral(start: float, grown: float, limit: float) -> None:
    """The closed form equals the mean over many even points."""
    points = start + grown * (np.arange(4000) + 0.5) / 4000
    over = float(np.mean(np.maximum(0, points - limit)) / limit)
    assert float(mean_excess(start, start + grown, limit)) == pytest.approx(over, abs=1e-4)


def test_exact_stretches_give_their_two_rates_back() -> None:
    """Without error, 0.05 mm per 1,000 km within the limit and 0.20 at twice it are found."""
    seen = sprocket_seen([1, 2, 3], [2000, 1000, 4000], [0.1, 0.2, 0.5], [0, 1, 0.5], 0.0)
    model = fit_sprocket_wear(seen)
    assert (model.base, model.per_excess, model.log_sd) == pytest.approx((0.05, 0.15, 0))
    assert model.rate([0, 2]) == pytest.approx([0.05, 0.35])


def test_wear_that_seems_to_fall_with_excess_is_taken_as_level() -> None:
    """The model can only rise: the base is then the mean rate of all."""
    model = fit_sprocket_wear(sprocket_seen([1, 2], [1000, 1000], [0.08, 0.04], [0, 1], 0.01))
    assert model.per_excess == 0
    assert model.base == pytest.approx(0.06)


def test_true_rates_are_recovered_through_gauge_error_and_luck() -> None:
    """Over 60 made-up shops the mean estimates are within 4 % of the truth, the spread 15 %."""
    rng = np.random.default_rng(12)
    found = []
    for _ in range(60):
        km, excess = rng.uniform(1500, 9000, 250), np.maximum(0, rng.normal(0.2, 0.4, 250))
        luck = np.exp(rng.normal(0, 0.25, 250) - 0.25**2 / 2)
        wear = km / 1000 * (0.05 + 0.15 * excess) * luck + rng.normal(0, 0.05, 250)
        model = fit_sprocket_wear(sprocket_seen(np.arange(250), km, wear, excess, 0.05))
        found.append([model.base, model.per_excess, model.log_sd])
    assert np.mean(found, axis=0)[:2] == pytest.approx([0.05, 0.15], rel=0.04)
    assert np.mean(found, axis=0)[2] == pytest.approx(0.25, rel=0.15)


def test_a_sort_seen_seldom_leans_on_one_seen_often() -> None:
    """Rings never seen under a worn chain take the cassettes' ratio; many stretches outweigh it."""
    cassette = fit_sprocket_wear(sprocket_seen([1, 2], 1000.0, [0.05, 0.2], [0, 1], 0.0))
    few = sprocket_seen([1, 2], 1000.0, [0.04, 0.04], 0.0, 0.01)
    ring = fit_sprocket_wear(few, like=cassette)
    assert (ring.base, ring.per_excess) == pytest.approx((0.04, 0.12), rel=1e-6)
    many = sprocket_seen(np.arange(400), 1000.0, [0.04, 0.04] * 200, [0, 1] * 200, 0.01)
    assert fit_sprocket_wear(many, like=cassette).per_excess < 0.005


def test_counting_a_stretch_twice_is_giving_it_twice() -> None:
    """A weight of 2 and the same stretch again are the same data."""
    rider, km, wear = [1, 2, 3], [1000, 2000, 1500], [0.05, 0.12, 0.3]
    once = sprocket_seen(rider, km, wear, [0, 0.1, 1], 0.04)
    twice = sprocket_seen([*rider, 3], [*km, 1500], [*wear, 0.3], [0, 0.1, 1, 1], 0.04)
    weighted = fit_sprocket_wear(once, np.array([1.0, 1.0, 2.0]))
    assert weighted.base == pytest.approx(fit_sprocket_wear(twice).base)
    assert weighted.per_excess == pytest.approx(fit_sprocket_wear(twice).per_excess)


def test_a_stretch_without_distance_is_named() -> None:
    """The error says which stretch and what would be right."""
    with pytest.raises(CannotFit, match=r"stretch 1: .*is 0 km.*distance above 0"):
        sprocket_seen([1, 1], [1000, 0], [0.1, 0.1], 0.0, 0.0)


def test_sprockets_that_did_not_wear_have_no_rate() -> None:
    """Readings that only err below nought are refused, not turned into a rate."""
    with pytest.raises(CannotFit, match="did not grow"):
        fit_sprocket_wear(sprocket_seen([1, 2], [100, 100], [-0.02, -0.01], 0.0, 0.04))
