"""Tables of readings that are thin, broken or absurd: a figure or none, but never nonsense."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis import wear_forecast
from ledger.analysis.wear import FamilyFit, WearFit, fit_wear
from ledger.analysis.wear_data import ReadingsWrong
from tests.analysis.wear_shop import Plan, simulated


def assert_finite(fit: WearFit) -> None:
    """Every figure a fit gives is finite; only limits, starts and open ends may be missing."""
    for each in fit.families:
        if each.state is None:
            continue
        assert each.scales and each.rates and each.pool and each.readings and each.lines
        for held in (each.rates, each.state):
            for name in held.__dataclass_fields__:
                if name != "worn_out":
                    assert np.isfinite(getattr(held, name)).all(), name
        for name in ("rate", "start", "start_variance", "bias", "bias_error", "gain", "error"):
            assert np.isfinite(getattr(each.scales, name)).all(), name
        assert np.isfinite([each.scales.wander, each.scales.span, each.pool.mean]).all()
        assert np.isfinite([each.pool.spread, each.pool.bike_spread]).all()
        assert np.isfinite(each.pool.covariance).all()
        assert_foretold(each)
        for flag in each.flagged:
            assert np.isfinite([flag.low, flag.high, flag.off]).all()


def assert_foretold(each: FamilyFit) -> None:
    """What is foretold is ordered and finite, and chances lie between nought and one."""
    state = each.state
    assert state is not None
    size = len(each.family.series)
    seen = wear_forecast.at(state, state.x + 1.0)
    low, middle, high = (seen.quantile(share) for share in (0.1, 0.5, 0.9))
    assert np.isfinite([low, middle, high]).all()
    assert (low <= middle).all() and (middle <= high).all()
    assert (state.rate(0.1) > 0).all() and (state.rate(0.1) <= state.rate(0.9)).all()
    limit = np.where(np.isnan(each.family.limit), middle + 1.0, each.family.limit)
    chance = seen.chance_above(limit)
    assert ((chance >= 0) & (chance <= 1)).all()
    ways = [wear_forecast.due_after(state, limit, state.x, np.zeros(size), q) for q in (0.1, 0.9)]
    assert not np.isnan(ways).any() and (ways[0] <= ways[1] + 1e-9).all()


def chain(x: list[float], y: list[float | None], **more: Any) -> dict[str, Any]:
    """Give a table of one chain."""
    return {"series": ["one"] * len(x), "distance_km": x, "value": y, **more}


def test_no_readings_give_no_families() -> None:
    """An empty table is fitted to nothing."""
    assert fit_wear({"series": [], "value": []}).families == []


@pytest.mark.parametrize(
    "table",
    [
        chain([500.0], [0.2]),
        chain([500.0], [0.2], start=[0.0], limit=[0.75]),
        chain([0.0], [0.02], start=[0.0], limit=[0.75]),
        chain([500.0, 1500.0], [0.2, 0.4], limit=[None, 0.75]),
        chain([500.0, 500.0, 500.0], [0.2, 0.2, 0.2]),
        chain([0.0, 0.0], [0.1, 0.3]),
        chain([100.0 * n for n in range(1, 400)], [0.02 + 0.01 * n for n in range(1, 400)]),
        chain([1000.0, 2000.0, 3000.0], [0.6, 0.4, 0.2], limit=[0.75] * 3),
        chain([1000.0, 2000.0], [None, None], low=[None, 0.5], high=[0.5, 0.75]),
        chain([1000.0, 2000.0], [0.2, 1e9], start=[0.0, 0.0]),
        chain([1000.0, 2000.0], [0.2, -1e9], start=[0.0, 0.0]),
        chain([1e-9, 1e9], [0.2, 0.4]),
        chain([1000.0], [0.2], start=[0.9], limit=[0.75]),
        chain([1000.0, 2000.0, 3000.0], [0.2, 0.4, 0.6], is_from_new=[False] * 3),
        chain([0.0], [0.2], is_from_new=[False]),
    ],
)
def test_one_part_whatever_its_readings(table: dict[str, Any]) -> None:
    """One part gives finite figures or none at all."""
    assert_finite(fit_wear(table))


def test_wear_that_goes_backwards_tells_no_rate() -> None:
    """Where every line falls, no rate of wear is given rather than a negative or a made-up one."""
    table = {
        "series": ["a", "a", "b", "b", "c", "c"],
        "distance_km": [1000.0, 3000.0] * 3,
        "value": [0.6, 0.3, 0.5, 0.2, 0.7, 0.4],
    }
    (family,) = fit_wear(table).families
    assert family.state is None and family.flagged == []


def test_readings_that_all_say_the_same_tell_no_rate() -> None:
    """Twenty parts that always read as new give no rate of wear."""
    table = {
        "series": [f"p{n // 2}" for n in range(40)],
        "distance_km": [1000.0, 2000.0] * 20,
        "value": [0.5] * 40,
    }
    (family,) = fit_wear(table).families
    assert family.state is None


def shop_with(seed: int, **changes: Any) -> dict[str, list[Any]]:
    """Give a shop of 60 parts with some columns replaced by one figure all along."""
    table = simulated(seed, Plan(count_parts=60, found_share=0.2)).columns
    return table | {name: [value] * len(table["series"]) for name, value in changes.items()}


@pytest.mark.parametrize(
    "changes",
    [
        {"limit": None},
        {"limit": 0.0},
        {"limit": -5.0},
        {"gauge": None},
        {"riding": None, "model": None, "bike": None},
        {"is_from_new": False},
        {"start": 0.0},
        {"gauge_error": 1e-9},
        {"gauge_error": 1e6},
        {"distance_error_km": 1e5},
        {"distance_km": 0.0},
        {"distance_km": None},
        {"value": None, "low": 0.5, "high": 0.75},
        {"value": None, "low": None, "high": 0.5},
        {"value": None, "low": 0.75, "high": None},
        {"value": None, "low": 0.5, "high": 0.5},
        {"value": 0.3, "low": None, "high": None},
    ],
)
def test_a_shop_whose_column_says_nothing(changes: dict[str, Any]) -> None:
    """A column that is missing, constant or absurd leaves every figure finite, or none."""
    assert_finite(fit_wear(shop_with(3, **changes)))


@given(st.integers(0, 500), st.sampled_from([1e3, -1e3, 1e6, 25.4, 0.0]))
@settings(max_examples=10)
def test_one_huge_outlier_moves_nothing_much(seed: int, outlier: float) -> None:
    """A single absurd figure is flagged, and the shop's usual rate hardly moves for it."""
    table = simulated(seed, Plan(count_parts=80)).columns
    row = next(row for row, value in enumerate(table["value"]) if value is not None)
    spoilt = table | {"value": [outlier if at == row else v for at, v in enumerate(table["value"])]}
    before, after = (fit_wear(each) for each in (table, spoilt))
    assert_finite(after)
    one, other = before.families[0].pool, after.families[0].pool
    assert one and other and other.mean == pytest.approx(one.mean, abs=0.08)
    if outlier != 0.0:
        assert row in [flag.row for flag in after.families[0].flagged]


@given(st.integers(0, 10_000), st.integers(1, 8))
@settings(max_examples=15)
def test_a_random_handful_of_readings_is_finite(seed: int, count: int) -> None:
    """A few readings drawn from anywhere give finite figures or none."""
    rng = np.random.default_rng(seed)
    lows = rng.uniform(0, 1, count)
    looks = [
        (None, low, low + 0.2 if low > 0.3 else None) if is_interval else (value, None, None)
        for is_interval, low, value in zip(
            rng.random(count) < 0.3, lows, rng.normal(0.5, 1, count), strict=True
        )
    ]
    table = {
        "series": [f"p{n}" for n in rng.integers(0, 4, count)],
        "distance_km": rng.choice([0.0, 10.0, 500.0, 20_000.0], count).tolist(),
        "value": [value for value, _, _ in looks],
        "low": [low for _, low, _ in looks],
        "high": [high for _, _, high in looks],
        "limit": rng.choice([0.75, np.nan], count).tolist(),
        "is_from_new": [bool(n) for n in rng.integers(0, 2, count)],
    }
    assert_finite(fit_wear(table))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"value": [0.2, None]}, "reading 1: value is missing"),
        ({"value": [0.2, float("inf")]}, "reading 1: value is infinite"),
        ({"distance_km": [100.0, -1.0]}, "reading 1: exposure is below nought"),
        ({"distance_km": [None, 100.0]}, "reading 0: distance_km and days are missing"),
        ({"low": [None, 0.9], "high": [None, 0.5]}, "reading 1: low is above high"),
        ({"series": ["one", None]}, "reading 1: series is missing"),
    ],
)
def test_a_row_that_cannot_be_used_is_named(change: dict[str, Any], says: str) -> None:
    """The error names the row, the field and what would be right, and nothing is fitted."""
    table = chain([100.0, 200.0], [0.1, 0.2]) | change
    with pytest.raises(ReadingsWrong, match=says):
        fit_wear(table)


def test_an_arrow_table_is_a_mapping_of_its_columns() -> None:
    """The same readings as an Arrow table give the same rates."""
    table = simulated(4, Plan(count_parts=30)).columns
    one, other = fit_wear(table).families[0], fit_wear(pa.table(table)).families[0]
    assert one.state is not None and other.state is not None
    assert np.array_equal(one.state.log_rate, other.state.log_rate)
