"""When to change chains: the cost of each threshold."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ledger.analysis.sprockets import sprocket_seen
from ledger.analysis.thresholds import (
    ChainRates,
    CostCurve,
    SprocketCost,
    cost_curve,
    seen_thresholds,
)
from ledger.analysis.unfit import CannotFit

EXACT = sprocket_seen([1, 2], [1000, 1000], [0.05, 0.2], [0, 1], 0.0)
"""0.05 mm per 1,000 km within the limit, 0.20 at twice the limit."""
AT = [0.25, 0.5, 1.0, 1.5]


def chains(rate: list[float]) -> ChainRates:
    return ChainRates(np.arange(len(rate)), np.array(rate), np.ones(len(rate)))


def curve(rate: list[float], cassette: float = 4000, **more: Any) -> CostCurve:
    cost = SprocketCost(EXACT, cassette, 0.9)
    return cost_curve(AT, 0.5, chains(rate), 2000, cost, count_samples=20, **more)


def test_a_deterministic_shop_by_hand() -> None:
    """Chains of 0.25 % per 1,000 km at 20.00, cassettes of 0.9 mm at 40.00; limit 0.5 %.

    Changed at 0.25: 1,000 km a chain, 0.05 mm each, 18 chains: 400.00 over 18,000 km.
    At 0.5: 2,000 km, 0.10 mm, 9 chains: 220.00 over 18,000 km.
    At 1.0: 4,000 km, mean excess 1/4, 0.0875 mm per 1,000 km, 0.35 mm, 3 chains: 100.00 over
    12,000 km. At 1.5: 6,000 km, excess 2/3, 0.9 mm, one chain: 60.00 over 6,000 km.
    """
    found = curve([0.25])
    assert found.chains_a_cassette == pytest.approx([18, 9, 3, 1])
    assert found.cost == pytest.approx([40_000 / 18, 22_000 / 18, 10_000 / 12, 6000 / 6])
    assert found.least_at == 1.0
    assert list(found.near_least) == [1.0]


def test_rings_are_charged_by_the_share_of_their_limit_they_wear() -> None:
    """A ring of 1.2 mm at 60.00 that wears as the cassette does adds 60.00 x 0.9 / 1.2 a cycle."""
    ring = SprocketCost(EXACT, 6000, 1.2)
    found = curve([0.25], rings=[ring])
    assert found.cost[1] == pytest.approx((22_000 + 6000 * 0.9 / 1.2) / 18)


def test_a_dear_cassette_moves_the_least_cost_to_earlier_changes() -> None:
    """With a cassette at 400.00 the limit itself is the cheapest of these thresholds."""
    assert curve([0.25], cassette=40_000).least_at == 0.5


def test_riders_weigh_by_their_distance() -> None:
    """The shop's cost per km is the mean over all km ridden, not over riders."""
    slow, fast = curve([0.25]).cost, curve([0.5]).cost
    both = ChainRates(np.arange(2), np.array([0.25, 0.5]), np.array([3.0, 1.0]))
    cost = SprocketCost(EXACT, 4000, 0.9)
    found = cost_curve(AT, 0.5, both, 2000, cost, count_samples=20)
    assert found.cost == pytest.approx((3 * slow + fast) / 4)


def test_a_simulated_workshop_costs_what_the_curve_says() -> None:
    """Ridden out chain by chain with luck between cassettes, cost per km is within 1 %."""
    rng = np.random.default_rng(21)
    km = rng.uniform(2000, 9000, 4000)
    excess = rng.uniform(0, 1.2, 4000)
    luck = np.exp(rng.normal(0, 0.3, 4000) - 0.045)
    wear = km / 1000 * (0.05 + 0.15 * excess) * luck
    cost = SprocketCost(sprocket_seen(np.arange(4000), km, wear, excess, 0.0), 4000, 0.9)
    found = cost_curve([0.75], 0.5, chains([0.25]), 2000, cost, count_samples=2)
    rate = 0.05 + 0.15 * 0.25**2 / (2 * 0.5 * 0.75)
    worn = np.exp(rng.normal(0, 0.3, 40_000) - 0.045) * rate * 3
    count = np.ceil(0.9 / worn)
    simulated = (4000 + 2000 * count).mean() / (3 * count).mean()
    assert found.cost[0] == pytest.approx(simulated, rel=0.01)


def test_many_riders_in_groups_cost_what_they_cost_one_by_one() -> None:
    """Grouping 300 like rates changes the cost by less than half a percent."""
    rng = np.random.default_rng(6)
    rate, km = np.exp(rng.normal(-1.4, 0.3, 300)), rng.uniform(500, 9000, 300)
    spread = sprocket_seen([1, 2, 3, 4], 1000.0, [0.04, 0.06, 0.15, 0.25], [0, 0, 1, 1], 0.0)
    cost = SprocketCost(spread, 4000, 0.9)
    everybody = ChainRates(np.arange(300), rate, km)
    grouped = cost_curve(AT, 0.5, everybody, 2000, cost, count_samples=1)
    single = [cost_curve(AT, 0.5, chains([one]), 2000, cost, count_samples=1).cost for one in rate]
    assert grouped.cost == pytest.approx(np.average(single, axis=0, weights=km), rel=0.005)


def test_the_band_holds_the_curve_and_narrows_with_more_riders() -> None:
    """Four times the riders about halve the band."""
    rng = np.random.default_rng(9)
    widths = []
    for count in (60, 240):
        km, excess = rng.uniform(2000, 9000, count), rng.uniform(0, 1, count)
        wear = km / 1000 * (0.05 + 0.15 * excess) * np.exp(rng.normal(0, 0.3, count))
        seen = sprocket_seen(np.arange(count), km, wear, excess, 0.03)
        rates = ChainRates(np.arange(count), np.exp(rng.normal(-1.4, 0.2, count)), km)
        found = cost_curve([0.5, 1.0], 0.5, rates, 2000, SprocketCost(seen, 4000, 0.9))
        assert np.all((found.low <= found.cost) & (found.cost <= found.high))
        widths.append(float(np.mean(found.high - found.low)))
    assert 1.4 < widths[0] / widths[1] < 2.9


def test_thresholds_stay_inside_what_the_shop_has_seen() -> None:
    """Of chains changed at 0.3 to 1.1 % the middle nine tenths give round steps from 0.35 up."""
    found = seen_thresholds(np.linspace(0.3, 1.1, 101))
    assert (found[0], found[-1]) == (0.35, 1.05)
    assert np.diff(found) == pytest.approx(0.05)


@pytest.mark.parametrize("changed_at", [[], [0.5], [0.5, 0.5, 0.51]])
def test_a_shop_that_changes_all_alike_cannot_compare(changed_at: list[float]) -> None:
    """Without a range of thresholds seen there is no curve, and the reason is said."""
    with pytest.raises(CannotFit, match="too little to compare"):
        seen_thresholds(changed_at)


def test_a_rider_who_wears_all_twice_as_fast_pays_twice_a_km() -> None:
    """With chains and sprockets at twice the pace, as many chains go with a cassette."""
    cost = SprocketCost(EXACT, 4000, 0.9)
    one = ChainRates(np.arange(1), np.array([0.25]), np.ones(1))
    two = ChainRates(np.arange(1), np.array([0.5]), np.ones(1), pace=np.array([2.0]))
    slow, fast = (cost_curve(AT, 0.5, who, 2000, cost, count_samples=1) for who in (one, two))
    assert fast.chains_a_cassette == pytest.approx(slow.chains_a_cassette)
    assert fast.cost == pytest.approx(2 * slow.cost)
