"""What a part truly measures now, where nobody can say which of few gauges is right."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ledger.analysis.wear import fit_wear
from ledger.analysis.wear_forecast import at

Rng = np.random.Generator


def small_shop(rng: Rng, count_chains: int) -> tuple[dict[str, list[Any]], dict[str, float]]:
    """Give one to three readings a chain by three gauges, each off by its own drawn bias (sd
    0.03 %), and every chain's true figure at its last reading.
    """
    bias = rng.normal(0, 0.03, 3)
    columns: dict[str, list[Any]] = {
        name: [] for name in ("part", "distance_km", "gauge", "value", "start", "limit")
    }
    truth = {}
    for number in range(count_chains):
        rate, name = 0.22 * np.exp(rng.normal(0, 0.35)), f"chain {number}"
        for km in np.sort(rng.uniform(300, 3500, rng.integers(1, 4))):
            gauge = int(rng.integers(3))
            true = rate * km / 1000
            shown = true + bias[gauge] + rng.normal(0, 0.02)
            row = (name, float(km), f"gauge {gauge}", shown, 0.0, 0.75)
            for column, figure in zip(columns.values(), row, strict=True):
                column.append(figure)
            truth[name] = true
    return columns, truth


@pytest.mark.parametrize(("count_chains", "count_shops"), [(10, 150), (40, 60)])
def test_the_true_figure_is_inside_as_often_as_said_though_gauges_are_off(
    count_chains: int, count_shops: int
) -> None:
    """Over small shops whose gauges are off, 80 % intervals of true figures hold 74 to 90 %."""
    rng, inside = np.random.default_rng(20_261), []
    for _ in range(count_shops):
        columns, truth = small_shop(rng, count_chains)
        (fitted,) = fit_wear(columns).families
        assert fitted.state is not None
        seen = at(fitted.state, fitted.state.x)
        true = np.array([truth[name] for name in fitted.family.series])
        inside += list((true >= seen.quantile(0.1)) & (true <= seen.quantile(0.9)))
    assert 0.74 < float(np.mean(inside)) < 0.90
