"""How fast each rider's chains wear, from few readings."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from ledger.analysis.rider_rates import pooled_mean, rider_rates
from ledger.analysis.unfit import CannotFit


def test_pooling_is_that_of_another_library() -> None:
    """Mean and spread between are those statsmodels gives by DerSimonian and Laird's method."""
    rng = np.random.default_rng(17)
    variance = rng.uniform(0.001, 0.02, 40)
    own = rng.normal(0.2, 0.08, 40) + rng.normal(0, np.sqrt(variance))
    other = combine_effects(own, variance, method_re="chi2")
    mean, between = pooled_mean(own, variance)
    assert between == pytest.approx(other.tau2)
    assert mean == pytest.approx(other.mean_effect_re)


def test_two_riders_by_hand() -> None:
    """Rates 0.1 and 0.3 known to 0.01 and 0.03: the surer one is drawn in less.

    Plain mean 0.12, heterogeneity 40 - 1, room 2,222.2: between 0.01755. So means of 0.2001,
    0.1006 and 0.2951.
    """
    found = rider_rates([1, 2], [1000, 1000], [0.1, 0.3], [0.01, 0.03])
    weight = np.array([1e4, 1 / 0.0009])
    between = (40 - 1) / (weight.sum() - (weight**2).sum() / weight.sum())
    mean = np.average([0.1, 0.3], weights=1 / (1 / weight + between))
    shrunk = (np.array([0.1, 0.3]) * weight + mean / between) / (weight + 1 / between)
    assert found.between_sd**2 == pytest.approx(between, rel=1e-6)
    assert found.rate == pytest.approx(shrunk, rel=1e-6)


def test_intervals_hold_the_true_rates() -> None:
    """Of 600 riders with one noisy stretch each, 76 to 86 % lie in their 80 % interval."""
    rng = np.random.default_rng(5)
    true = np.exp(rng.normal(-1.5, 0.3, 600))
    km = rng.uniform(300, 4000, 600)
    found = rider_rates(np.arange(600), km, true * km / 1000 + rng.normal(0, 0.06, 600), 0.06)
    reach = 1.2815516 * found.log_sd
    held = np.abs(np.log(true) - found.log_mean) <= reach
    assert 0.76 <= held.mean() <= 0.86


def test_a_rider_without_stretches_is_like_any_of_the_shop() -> None:
    """The shop's mean, with the spread between riders around it."""
    found = rider_rates([1, 2, 3], 1000, [0.1, 0.2, 0.3], 0.01)
    log_mean, log_sd = found.of([9])
    assert np.exp(log_mean + log_sd**2 / 2)[0] == pytest.approx(found.shop_rate)
    assert log_sd[0] > found.log_sd.max()


def test_alike_riders_share_one_rate() -> None:
    """Where riders differ by no more than the gauge errs, all have the shop's rate."""
    found = rider_rates([1, 2], 1000, [0.199, 0.201], 0.05)
    assert found.rate == pytest.approx([0.2, 0.2], rel=1e-6)


def test_a_chain_that_never_wore_has_no_rate() -> None:
    """The error says what would be right."""
    with pytest.raises(CannotFit, match="over which wear grew"):
        rider_rates([1], [1000], [0.0], [0.05])
