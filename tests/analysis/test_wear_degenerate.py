"""Random shops that hardly say anything: no figure is NaN, none is infinite, nothing warns."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.wear import FamilyFit, fit_wear
from ledger.analysis.wear_columns import ReadingsWrong
from ledger.analysis.wear_forecast import at, band, due_after

CHOSEN = {
    "kilometres": ["alike", "nought", "spread", "huge", "tiny", "one pair"],
    "figures": ["alike", "nought", "line", "falling", "huge", "tiny", "wild", "noise"],
    "limits": [None, 0.75, 0.0, 1e9, 1e-9],
    "starts": [None, 0.0, 0.5, 1e6],
}
KILOMETRES = {
    "alike": lambda rng, n: np.full(n, 2000.0),
    "nought": lambda rng, n: np.zeros(n),
    "spread": lambda rng, n: rng.uniform(100, 4000, n),
    "huge": lambda rng, n: rng.uniform(1, 9, n) * 1e12,
    "tiny": lambda rng, n: rng.uniform(1, 9, n) * 1e-9,
    "one pair": lambda rng, n: rng.choice([1000.0, 1000.0 + 1e-9], n),
}
FIGURES = {
    "alike": lambda rng, km: np.full(len(km), 0.5),
    "nought": lambda rng, km: np.zeros(len(km)),
    "line": lambda rng, km: 0.25 * km / 1000,
    "falling": lambda rng, km: 1 - 0.1 * km / 1000,
    "huge": lambda rng, km: rng.uniform(1, 9, len(km)) * 1e15,
    "tiny": lambda rng, km: rng.uniform(1, 9, len(km)) * 1e-15,
    "wild": lambda rng, km: rng.choice([0.1, 1e12, -1e12], len(km)),
    "noise": lambda rng, km: rng.normal(0, 1, len(km)),
}


def shop(seed: int, kilometres: str, figures: str, limit: Any, start: Any) -> dict[str, list[Any]]:
    """Give a few readings of a few parts by a few gauges, some of parts found on their bikes."""
    rng = np.random.default_rng(seed)
    count = int(rng.choice([1, 2, 3, 12, 13, 30]))
    parts = int(rng.choice([1, max(count // 2, 1), count]))
    km = KILOMETRES[kilometres](rng, count)
    return {
        "part": [f"p{number % parts:02d}" for number in range(count)],
        "distance_km": list(km),
        "value": list(FIGURES[figures](rng, km)),
        "limit": [limit] * count,
        "start": [start] * count,
        "gauge": [f"g{number % int(rng.choice([1, 3]))}" for number in range(count)],
        "is_from_new": [bool(rng.random() > 0.2) or number > 3 for number in range(count)],
        "direction": [int(rng.choice([1, -1]))] * count,
    }


def figures_of(fit: FamilyFit) -> list[Any]:
    """Give every figure a page or command could show of a fit."""
    if fit.state is None:
        return [fit.used]
    assert fit.scales and fit.rates and fit.readings and fit.pool and fit.lines
    state, nothing = fit.state, np.zeros(len(fit.family.series))
    seen = at(state, state.x + 1, nothing)
    drawn = band(fit.family, fit.scales, fit.rates, fit.readings, np.array([0]), 0, np.ones(3))
    found = [seen.quantile(share) for share in (0.1, 0.5, 0.9)]
    found += [state.rate(share) for share in (0.1, 0.5, 0.9)]
    found += [drawn.quantile(0.5), fit.scales.bias, fit.scales.bias_error, fit.scales.gain]
    found += [fit.scales.error, fit.scales.start, fit.pool.effects, fit.pool.covariance]
    found += [fit.pool.mean, fit.pool.spread, [flag.off for flag in fit.flagged]]
    found += [[flag.low for flag in fit.flagged], [flag.high for flag in fit.flagged]]
    has_limit = ~np.isnan(fit.family.limit)
    found.append(seen.chance_above(np.where(has_limit, fit.family.limit, 0.0)))
    due = due_after(state, fit.family.limit, state.x, nothing, 0.5)
    return [*found, np.where(np.isinf(due), 0.0, due)]


@given(st.integers(0, 10**6), *(st.sampled_from(choice) for choice in CHOSEN.values()))
@settings(max_examples=150)
def test_no_figure_of_a_degenerate_shop_is_nan_or_infinite(
    seed: int, kilometres: str, figures: str, limit: Any, start: Any
) -> None:
    """One part, the same figure or distance for all, huge or tiny ones, all of them wild."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            fits = fit_wear(shop(seed, kilometres, figures, limit, start)).families
        except ReadingsWrong:
            return
        for fit in fits:
            for figure in figures_of(fit):
                assert np.isfinite(figure).all()


@pytest.mark.parametrize("field", ["value", "limit", "start", "distance_km"])
@pytest.mark.parametrize("wrong", [1e300, 1e-300])
def test_a_figure_that_is_none_of_a_bicycles_is_refused(field: str, wrong: float) -> None:
    """What no sum can be made of is refused with its row, its column and what would be right."""
    table = {"part": ["a", "b"], "distance_km": [1e3, 2e3], "value": [0.2, 0.4]}
    table |= {"limit": [0.75, 0.75], "start": [0.0, 0.0]}
    table[field] = [table[field][0], wrong]
    with pytest.raises(ReadingsWrong, match=f"reading 1: {field} is"):
        fit_wear(table)
