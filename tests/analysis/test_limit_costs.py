"""What running chains long cost or saved, against changing each at its limit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.costs import (
    ChainRuns,
    Differences,
    SprocketAccount,
    difference_from_changing_at_limit,
)
from ledger.analysis.sprockets import SprocketSeen, mean_excess, sprocket_seen
from ledger.analysis.unfit import CannotFit

EXACT = sprocket_seen([7, 8], [1000, 1000], [0.05, 0.2], [0, 1], 0.0)
"""0.05 mm per 1,000 km within the limit, 0.20 at twice the limit."""


def runs(rider: list[int], km: Any, start: Any, end: Any, changed_at: Any) -> ChainRuns:
    """Chains with a limit of 0.5 % at 20.00 each."""
    shape = (len(rider),)
    spread = [np.broadcast_to(np.asarray(x, dtype=float), shape) for x in (km, start, end)]
    at = np.broadcast_to(np.asarray(changed_at, dtype=float), shape)
    whole = np.full(shape, 0.5), np.full(shape, 2000.0)
    return ChainRuns(np.array(rider, dtype=np.int64), *spread, at, *whole)


def account(price: float, count: int, seen: SprocketSeen = EXACT) -> SprocketAccount:
    return SprocketAccount(seen, np.full(count, price), np.full(count, 0.9))


def asked(chains: ChainRuns, price: float, **more: Any) -> Differences:
    sprockets = [account(price, len(chains.rider))]
    return difference_from_changing_at_limit(chains, sprockets, count_samples=20, **more)


def test_a_chain_run_to_twice_its_limit_by_hand() -> None:
    """One chain for two: a chain is saved, and the cassette wears 0.15 mm of its 0.9 mm more.

    4,000 km from new to 1.0 % at a limit of 0.5 %: mean excess 1/4, 4 x 0.15 x 1/4 = 0.15 mm, a
    sixth of a cassette at 180.00, which is 30.00, less a chain at 20.00: 10.00 dearer.
    """
    found = asked(runs([1], 4000, 0, 1.0, 1.0), 18_000)
    assert found.extra_chains[0] == pytest.approx(1)
    assert found.difference[0] == pytest.approx(3000 - 2000)
    assert found.spent[0] == pytest.approx(2000 + 18_000 * (0.2 + 0.15) / 0.9)
    assert found.shop_difference == pytest.approx(1000)


def test_running_on_may_be_the_cheaper_way_and_is_said_so() -> None:
    """With a cassette at 40.00 the same chain saved money: the figure is negative, not floored."""
    found = asked(runs([1], 4000, 0, 1.0, 1.0), 4000)
    assert found.difference[0] == pytest.approx(4000 * 0.15 / 0.9 - 2000)
    assert found.shop_low < 0


def test_a_chain_changed_early_has_used_up_more_chains() -> None:
    """Changed at half its limit, twice the chains were used, and no sprocket wore faster."""
    found = asked(runs([1], 1000, 0, 0.25, 0.25), 18_000)
    assert found.extra_chains[0] == pytest.approx(-0.5)
    assert found.difference[0] == pytest.approx(1000)


def test_a_chain_changed_at_its_limit_makes_no_difference() -> None:
    """Done as compared with, nothing is gained or lost."""
    found = asked(runs([1, 2], 2000, 0, 0.5, 0.5), 18_000)
    assert found.difference == pytest.approx([0, 0])


def test_sprockets_of_whoever_wears_all_faster_wear_faster() -> None:
    """At twice the pace the cassette loses twice as much, and the chain spared is the same one."""
    chains = runs([1], 4000, 0, 1.0, 1.0)
    fast = ChainRuns(**{**vars(chains), "pace": np.array([2.0])})
    assert asked(fast, 18_000).difference[0] == pytest.approx(2 * 3000 - 2000)


def test_intervals_of_many_riders_are_those_of_all_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """They are sorted some riders at a time."""
    chains = runs([1, 2, 3, 4, 5], 3000, 0.0, [0.4, 0.6, 0.8, 1.0, 1.2], 1.2)
    at_once = asked(chains, 60.0)
    monkeypatch.setattr("ledger.analysis.costs._COLUMNS_AT_ONCE", 2)
    some = asked(chains, 60.0)
    assert some.low.tolist() == at_once.low.tolist()
    assert some.high.tolist() == at_once.high.tolist()
    assert len(set(some.high)) == 5


def test_a_riders_chains_are_summed() -> None:
    """Two stretches of one chain are as good as one."""
    whole = asked(runs([1], 4000, 0, 1.0, 1.0), 18_000)
    halves = asked(runs([1, 1], 2000, [0, 0.5], [0.5, 1.0], 1.0), 18_000)
    assert halves.difference == pytest.approx(whole.difference)
    assert halves.distance_km == pytest.approx([4000])


ROWS = st.lists(
    st.tuples(st.integers(1, 6), st.floats(200, 9000), st.floats(0, 0.4), st.floats(0.05, 1.2)),
    min_size=1,
    max_size=12,
)


def made(rows: list[tuple[int, float, float, float]]) -> ChainRuns:
    rider, km, start, grown = (list(column) for column in zip(*rows, strict=True))
    end = np.array(start) + np.array(grown)
    return runs([int(one) for one in rider], km, start, end, end)


@settings(max_examples=30, deadline=None)
@given(rows=ROWS)
def test_more_for_a_chain_speaks_against_changing_at_the_limit(
    rows: list[tuple[int, float, float, float]],
) -> None:
    """Each extra chain is subtracted whole: a chain dearer by 1 moves the sum by just that."""
    chains = made(rows)
    dearer = ChainRuns(**{**vars(chains), "price": chains.price + 1})
    cheap, dear = asked(chains, 5000), asked(dearer, 5000)
    assert dear.difference == pytest.approx(cheap.difference - cheap.extra_chains, abs=1e-6)


@settings(max_examples=30, deadline=None)
@given(rows=ROWS, seed=st.integers(0, 99))
def test_the_order_of_runs_makes_no_difference(
    rows: list[tuple[int, float, float, float]], seed: int
) -> None:
    """Runs listed in another order give each rider the same figure and interval."""
    unsure = {"pace": 1.0, "pace_log_sd": 0.2, "error": 0.05, "is_changed": True}
    each = {name: np.full(len(rows), one) for name, one in unsure.items()}
    chains = ChainRuns(**{**vars(made(rows)), **each})
    order = np.random.default_rng(seed).permutation(len(rows))
    mixed = ChainRuns(**{name: column[order] for name, column in vars(chains).items()})
    one, two = asked(chains, 5000), asked(mixed, 5000)
    assert two.difference == pytest.approx(one.difference)
    assert two.low == pytest.approx(one.low)
    assert (two.shop_low, two.shop_high) == pytest.approx((one.shop_low, one.shop_high))


def test_the_shops_interval_holds_the_truth_as_often_as_it_says() -> None:
    """Over 100 made-up shops the 80 % interval holds the expected difference 70 to 90 times."""
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(100):
        riders = np.arange(150)
        km, end = rng.uniform(1500, 6000, 150), rng.uniform(0.3, 1.4, 150)
        excess = mean_excess(0.0, end, 0.5)
        wear = km / 1000 * (0.05 + 0.15 * excess) * np.exp(rng.normal(-0.02, 0.2, 150))
        seen = sprocket_seen(riders, km, wear + rng.normal(0, 0.05, 150), excess, 0.05)
        chains = runs([*riders], km, 0, end, end)
        found = difference_from_changing_at_limit(
            chains, [account(9000, 150, seen)], count_samples=100
        )
        held += found.shop_low <= _expected_of_150_riders() <= found.shop_high
    assert 70 <= held <= 90


def _expected_of_150_riders() -> float:
    """The mean over an even grid of what riders are drawn from."""
    km, end = np.meshgrid(np.linspace(1500, 6000, 101), np.linspace(0.3, 1.4, 1101))
    faster = km / 1000 * 0.15 * mean_excess(0.0, end, 0.5) / 0.9 * 9000
    return float(np.mean(faster - 2000 * (end / 0.5 - 1))) * 150


def test_one_riders_interval_holds_the_truth_as_often_as_it_says() -> None:
    """Of 1,000 riders, each with two chains read with an error and a pace known by half, the 80 %
    interval holds what theirs used up 750 to 850 times; without their errors hardly ever.
    """
    rng = np.random.default_rng(8)
    who, count = np.repeat(np.arange(1000), 2), 2000
    km, grown = rng.uniform(1500, 6000, count), rng.uniform(0.3, 1.4, count)
    pace = np.exp(rng.normal(0, 0.25, 1000))[who]
    told = pace * np.exp(rng.normal(-0.02, 0.2, 1000))[who]
    read = grown + rng.normal(0, 0.05, count)
    limit, price = np.full(count, 0.5), np.full(count, 2000.0)
    mean_excess_of = mean_excess(0.0, grown, 0.5)
    truth = pace * km / 1000 * 0.15 * mean_excess_of / 0.9 * 9000 - 2000 * (grown / 0.5 - 1)
    seen = sprocket_seen(
        np.arange(4000), np.full(4000, 4000.0),
        4 * (0.05 + 0.15 * (np.arange(4000) % 2)) * np.exp(rng.normal(-0.02, 0.2, 4000)),
        np.arange(4000) % 2, 0.0,
    )  # fmt: skip
    same = (who, km, np.zeros(count), read, read, limit, price, told)
    expected = np.bincount(who, weights=truth)
    held = {}
    for name, unsure in (("with", (0.2, 0.05)), ("without", (0.0, 0.0))):
        found = difference_from_changing_at_limit(
            ChainRuns(*same, *unsure), [account(9000, count, seen)], count_samples=150
        )
        held[name] = int(((found.low <= expected) & (expected <= found.high)).sum())
    assert 750 <= held["with"] <= 850
    assert held["without"] < 300


def test_one_rider_alone_has_an_interval_from_readings_but_not_from_sprockets() -> None:
    """Chains alone: from the error of their readings, by hand. Sprockets of nobody else: none.

    Two chains of 1.0 % for two at 0.5 %: the difference is -2000 x (1.0 / 0.5 - 1) each, and a
    reading that errs by 0.05 moves it by 200, so 80 % lie within 1.2816 x 283 of it.
    """
    chains = ChainRuns(**{**vars(runs([1, 1], 4000, 0, 1.0, 1.0)), "error": 0.05})
    found = difference_from_changing_at_limit(chains, [], count_samples=4000)
    assert found.difference == pytest.approx([-4000])
    assert found.low == pytest.approx([-4000 - 1.2816 * 283], rel=0.01)
    assert found.high == pytest.approx([-4000 + 1.2816 * 283], rel=0.01)
    assert (found.shop_low, found.shop_high) == (found.low[0], found.high[0])
    alone = sprocket_seen([1, 1], [1000, 1000], [0.05, 0.2], [0, 1], 0.0)
    found = difference_from_changing_at_limit(chains, [account(18_000, 2, alone)])
    assert np.isfinite(found.difference).all()
    assert np.isnan([*found.low, *found.high, found.shop_low, found.shop_high]).all()


def test_a_chain_still_on_within_its_limit_would_be_changed_there_whatever_it_was_read_at() -> None:
    """Its life is to its limit, by which it differs from nothing: no interval where no sprocket."""
    chains = ChainRuns(
        **{**vars(runs([1], 1000, 0, 0.2, 0.5)), "error": 0.05, "is_changed": np.array([False])}
    )
    found = difference_from_changing_at_limit(chains, [])
    assert (found.difference[0], found.low[0], found.high[0]) == (0, 0, 0)


def test_a_run_without_distance_is_named() -> None:
    """The error says which run and what would be right."""
    with pytest.raises(CannotFit, match="run 1: distance_km"):
        asked(runs([1, 1], [1000, 0], 0, 0.5, 0.5), 1000)
