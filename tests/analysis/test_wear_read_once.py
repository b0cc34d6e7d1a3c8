"""Shops whose parts were read once or twice, at much the same distance: what tells start from
slope, and what does not, and how often true rates lie in their intervals."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

from ledger.analysis.wear import FamilyFit, fit_wear
from tests.long import times

SHOWN = [0.4, 0.5, 0.6, 0.45, 0.55, 0.5]
"""% of wear of chains that were at 0 when new."""
SPREADS = (0.05, 0.2, 0.5)
"""How far exposures lie about their middle, as a share of it."""
NUMBERS = {"once": (1, 2), "mixed": (1, 3), "twice": (2, 3)}


def fitted(columns: dict[str, Any]) -> FamilyFit:
    """Give the only family's fit."""
    (found,) = fit_wear(columns).families
    assert found.state is not None
    return found


@pytest.mark.parametrize("count", [6, 11, 12, 13, 24, 96])
@pytest.mark.parametrize("km", [[2000.0] * 6, [2000.0, 1900.0, 2050.0, 2100.0, 1950.0, 2000.0]])
def test_a_start_that_was_stated_holds_where_readings_cannot_tell_it(
    count: int, km: list[float]
) -> None:
    """Chains known to be 0 % when new, each read about 0.5 % at about 2,000 km, wear 0.25 % per
    1,000 km, however many they are."""
    found = fitted(
        {
            "part": [f"c{number:02d}" for number in range(count)],
            "distance_km": [km[number % 6] for number in range(count)],
            "value": [SHOWN[number % 6] for number in range(count)],
            "start": [0.0] * count,
            "limit": [0.75] * count,
        }
    )
    assert found.state is not None and found.scales is not None
    low, middle, high = (found.state.rate(share)[1] for share in (0.1, 0.5, 0.9))
    assert 0.21 < middle < 0.27
    assert low < 0.25 < high < 0.33
    assert abs(found.scales.start[0] + found.scales.bias[0]) < 0.05


def test_a_start_is_moved_where_readings_do_tell_it() -> None:
    """Sixty chains said to be 0 % when new that were at 0.15 are found out, read twice far apart:
    the start and the gauge together move by what the readings say."""
    rng = np.random.default_rng(4)
    km = np.tile([300.0, 3000.0], 60)
    rate = np.repeat(0.2 * np.exp(rng.normal(0, 0.2, 60)), 2)
    found = fitted(
        {
            "part": np.repeat([f"c{number}" for number in range(60)], 2),
            "distance_km": km,
            "value": 0.15 + rate * km / 1000 + rng.normal(0, 0.02, 120),
            "start": [0.0] * 120,
            "limit": [0.75] * 120,
        }
    )
    assert found.scales is not None
    assert found.scales.start[0] + found.scales.bias[0] == pytest.approx(0.15, abs=0.02)


def shop(
    rng: np.random.Generator, count: int, readings: str, spread: float, bias: float
) -> tuple[dict[str, list[Any]], np.ndarray[Any, Any]]:
    """Give a shop that varies as is usual, read once to twice at 2,000 km give or take, and its
    true rates; its gauge is off by a draw of standard deviation `bias`."""
    off = rng.normal(0, bias)
    columns: dict[str, list[Any]] = {name: [] for name in ("part", "distance_km", "value")}
    rates = 0.25 * np.exp(rng.normal(0, 0.35, count))
    for part, rate in enumerate(rates):
        x = np.sort(2 * (1 + spread * rng.uniform(-1, 1, rng.integers(*NUMBERS[readings]))))
        strayed = np.cumsum(rng.normal(0, 0.212, len(x)) * np.sqrt(np.diff(x, prepend=0.0)))
        start = rng.normal(0, 0.03)
        columns["part"] += [f"c{part:03d}"] * len(x)
        columns["distance_km"] += list(1000 * x)
        columns["value"] += list(start + off + rate * (x + strayed) + rng.normal(0, 0.03, len(x)))
    size = len(columns["part"])
    return columns | {"start": [0.0] * size, "limit": [0.75] * size}, rates


def inside(seed: int, shops: int, *plan: Any) -> float:
    """Give the share of true rates that lie in their 80 % intervals."""
    rng, found = np.random.default_rng(seed), []
    for _ in range(shops):
        columns, true = shop(rng, *plan)
        state = fitted(columns).state
        assert state is not None
        found += list((state.rate(0.1) <= true) & (true <= state.rate(0.9)))
    return float(np.mean(found))


@pytest.mark.parametrize("spread", SPREADS)
def test_rates_of_parts_read_once_lie_in_their_intervals(spread: float) -> None:
    """Of twelve chains read once, 74 to 90 % of true rates lie inside, gauge off or not."""
    assert 0.74 < inside(8, 60, 12, "once", spread, 0.03) < 0.90


COUNTS, BIASES = (8, 11, 12, 30, 100, 300), (0.0, 0.03)
EVERY = tuple(itertools.product(COUNTS, NUMBERS, BIASES, SPREADS))
PLACES = itertools.product(range(6), range(3), range(2), range(3))
USUAL = tuple(one for one, places in zip(EVERY, PLACES, strict=True) if sum(places) % 3 == 0)
"""A third of them, in which any two settings of different kinds still meet."""


@pytest.mark.slow
@pytest.mark.parametrize(("count", "readings", "bias", "spread"), times(EVERY, usual=USUAL))
def test_rates_lie_in_their_intervals_whatever_the_shop(
    count: int, readings: str, bias: float, spread: float
) -> None:
    """74 to 90 % lie inside in shops small and large, read once or twice, near or far apart."""
    assert 0.74 < inside(count, max(1200 // count, 12), count, readings, spread, bias) < 0.90
