"""The backtest keeps to what was known, scores as published, and finds the model right."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.backtest import Backtest, backtest, pinball
from tests.analysis.wear_shop import Plan, simulated

FORECAST = ("row", "low", "middle", "high", "line", "fleet", "span")


@pytest.mark.parametrize(
    ("actual", "forecast", "share", "loss"),
    [(5, 3, 0.1, 0.2), (5, 3, 0.9, 1.8), (3, 5, 0.1, 1.8), (3, 5, 0.9, 0.2), (3, 5, 0.5, 1.0)],
)
def test_pinball_loss_by_hand(actual: float, forecast: float, share: float, loss: float) -> None:
    """Above the forecast a miss costs the share, below it one less the share.

    Koenker & Bassett, Regression quantiles, Econometrica 46 (1978), the check function; worked by
    hand here.
    """
    found = pinball(np.array([float(actual)]), np.array([float(forecast)]), share)
    assert found == pytest.approx([loss])


@pytest.mark.parametrize(
    ("seed", "plan"),
    [
        (1, Plan(count_parts=300)),
        pytest.param(2, Plan(count_parts=700, found_share=0.3), marks=pytest.mark.slow),
        pytest.param(3, Plan(count_parts=1500, found_share=0.2), marks=pytest.mark.slow),
    ],
)
def test_the_model_is_right_and_better_than_anybodys_forecast(seed: int, plan: Plan) -> None:
    """On simulated shops 75 to 85 % of next readings lie inside, and the loss is below that of
    the line through two readings and of the fleet's mean, each with its own errors' spread."""
    total = backtest(simulated(seed, plan).columns).total
    assert total is not None and total.count > 150
    assert 0.75 <= total.coverage <= 0.85
    assert total.loss < total.loss_line and total.loss < total.loss_fleet
    assert abs(total.bias) < 3.0


@pytest.fixture(scope="module")
def scored() -> Backtest:
    """The backtest of a small shop."""
    return backtest(simulated(5, Plan(count_parts=150)).columns, folds=4)


def test_scores_are_the_means_of_what_is_scored(scored: Backtest) -> None:
    """Coverage, bias and losses are worked out again from the scored readings, one by one."""
    rows = scored.scored.to_pylist()
    assert scored.total is not None and scored.total.count == len(rows) > 50
    inside = [row["low"] <= row["shown"] <= row["high"] for row in rows]
    assert scored.total.coverage == pytest.approx(sum(inside) / len(rows))
    off = [100 * (row["shown"] - row["middle"]) / row["span"] for row in rows]
    assert scored.total.bias == pytest.approx(sum(off) / len(rows))
    loss = 0.0
    for row in rows:
        for name, share in (("low", 0.1), ("middle", 0.5), ("high", 0.9)):
            miss = row["shown"] - row[name]
            loss += 100 / row["span"] * (share * miss if miss > 0 else (share - 1) * miss) / 3
    assert scored.total.loss == pytest.approx(loss / len(rows))
    assert [each.family for each in scored.families] == ["chain elongation"]


def test_every_figure_is_finite_and_in_order(scored: Backtest) -> None:
    """No forecast is missing or infinite, and low, middle and high are in order."""
    columns = {name: scored.scored[name].to_numpy() for name in (*FORECAST, "loss", "shown")}
    assert all(np.isfinite(values).all() for values in columns.values())
    assert (columns["low"] <= columns["middle"]).all()
    assert (columns["middle"] <= columns["high"]).all()
    assert len(set(columns["row"])) == len(columns["row"])


def test_naive_forecasts_by_hand() -> None:
    """The line runs through the last two readings; the fleet's mean rate goes on from the last."""
    shop = simulated(5, Plan(count_parts=150))
    table = {name: list(values) for name, values in shop.columns.items()}
    last = max(table["measured_at"])
    for at, (km, value) in enumerate([(1000.0, 0.2), (2000.0, 0.5), (3000.0, 0.6)]):
        for values in table.values():
            values.append(values[0])
        table["series"][-1], table["distance_km"][-1], table["value"][-1] = "mine", km, value
        table["low"][-1] = table["high"][-1] = None
        table["gauge"][-1], table["is_from_new"][-1] = "dial", True
        table["measured_at"][-1] = last * (at + 1) / 3
    rows = {row["row"]: row for row in backtest(table).scored.to_pylist()}
    mine = rows[len(table["series"]) - 1]
    assert mine["line"] == pytest.approx(0.8)
    assert 0.6 < mine["fleet"] < 0.8
    assert mine["shown"] == 0.6


@given(st.integers(0, 1000), st.integers(1, 3), st.sampled_from(["values", "reversed", "recorded"]))
@settings(max_examples=3)
def test_nothing_leaks_from_the_future(seed: int, fold: int, change: str) -> None:
    """Whatever is read later, no earlier forecast changes."""
    table = simulated(seed, Plan(count_parts=80, found_share=0.2)).columns
    measured = np.array(table["measured_at"])
    cut = np.quantile(measured, np.linspace(0.1, 1, 5))[fold]
    later = measured >= cut
    before = backtest(table, folds=4)
    rng = np.random.default_rng(seed)
    other = dict(table)
    if change == "recorded":
        other["recorded_at"] = np.where(later, measured + 10_000, measured).tolist()
    else:
        moved = rng.uniform(-3, 9, len(later)) if change == "values" else 1 - measured / 500
        other["value"] = [
            float(moved[row]) if later[row] and value is not None else value
            for row, value in enumerate(table["value"])
        ]
    after = backtest(other, folds=4)
    assert _until(before, fold) == _until(after, fold) != []


def _until(found: Backtest, fold: int) -> list[Any]:
    kept = found.scored.filter(pa.compute.less(found.scored["fold"], fold))
    return kept.select(FORECAST).to_pylist()


def test_a_reading_recorded_late_is_not_known_before() -> None:
    """A reading entered in the book years later is not used to foretell what came between."""
    shop = simulated(5, replace(Plan(), count_parts=150))
    table = dict(shop.columns)
    measured = np.array(table["measured_at"])
    table["recorded_at"] = measured.tolist()
    prompt = backtest(table, folds=4).scored
    table["recorded_at"] = (measured + 400).tolist()
    late = backtest(table, folds=4).scored
    assert late.num_rows < prompt.num_rows
    table["recorded_at"] = (measured + 1e9).tolist()
    assert backtest(table, folds=4).total is None


@pytest.mark.parametrize(
    "change",
    [
        {},
        {"value": [None] * 4, "low": [0.5] * 4, "high": [None] * 4},
        {"distance_km": [0.0] * 4},
        {"value": [0.3] * 4},
        {"value": [0.6, 0.4, 0.2, 0.1]},
        {"value": [0.1, 0.2, 1e9, 0.4]},
        {"measured_at": [5.0] * 4},
        {"is_from_new": [False] * 4},
    ],
)
@pytest.mark.parametrize("count", [0, 1, 4])
def test_thin_tables_are_scored_finitely_or_not_at_all(change: dict[str, Any], count: int) -> None:
    """A few readings of one part give finite scores or none."""
    table: dict[str, Any] = {
        "series": ["one"] * 4,
        "distance_km": [500.0, 1000.0, 2000.0, 3000.0],
        "value": [0.1, 0.2, 0.4, 0.6],
        "measured_at": [1.0, 2.0, 3.0, 4.0],
    }
    found = backtest({name: values[:count] for name, values in (table | change).items()})
    for score in [found.total, *found.families]:
        if score is not None:
            figures = (score.coverage, score.bias, score.loss, score.loss_line, score.loss_fleet)
            assert np.isfinite(figures).all()
