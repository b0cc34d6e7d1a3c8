"""What a fit of wear promises whatever the order, the names, the units and the side of a figure."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.wear import FamilyFit, fit_wear
from tests.analysis.wear_shop import Plan, simulated

seeds = st.integers(0, 10_000)
SMALL = Plan(count_parts=32, found_share=0.2)
SHARES = (0.1, 0.5, 0.9)


def columns(seed: int) -> dict[str, list[Any]]:
    """Give the readings of a small shop, go/no-go ones among them."""
    return simulated(seed, SMALL).columns


def fitted(table: dict[str, list[Any]]) -> FamilyFit:
    """Give the one family, fitted."""
    (family,) = fit_wear(table).families
    return family


def rates(fit: FamilyFit) -> dict[str, list[float]]:
    """Give each series' rate: low, middle, high."""
    assert fit.state is not None
    each = np.column_stack([fit.state.rate(share) for share in SHARES])
    return dict(zip(fit.family.series, each.tolist(), strict=True))


def assert_same(
    one: dict[str, list[float]], other: dict[str, list[float]], times: float = 1.0
) -> None:
    """Every series has the same rates, `times` over."""
    assert one.keys() == other.keys()
    for series, figures in one.items():
        assert other[series] == pytest.approx([times * each for each in figures], rel=1e-4)


def multiplied(values: list[float | None], factor: float) -> list[float | None]:
    """Give figures times a factor, what is missing left missing."""
    return [None if each is None else factor * each for each in values]


@given(seeds)
@settings(max_examples=3)
def test_the_order_of_rows_does_not_matter(seed: int) -> None:
    """Shuffled rows give every part the same rate."""
    table = columns(seed)
    order = np.random.default_rng(seed).permutation(len(table["series"]))
    shuffled = {name: [values[row] for row in order] for name, values in table.items()}
    assert_same(rates(fitted(table)), rates(fitted(shuffled)))


@given(seeds)
@settings(max_examples=3)
def test_names_do_not_matter(seed: int) -> None:
    """Other names of bikes, models, ridings and gauges, in another order, change nothing."""
    table = columns(seed)
    renamed = dict(table)
    for name in ("bike", "model", "riding", "gauge"):
        renamed[name] = [each[::-1] + "?" for each in table[name]]
    assert_same(rates(fitted(table)), rates(fitted(renamed)))


@given(seeds, st.sampled_from([25.4, 1 / 25.4, 0.01, 1000.0]))
@settings(max_examples=3)
def test_units_of_the_figures_only_scale_the_rates(seed: int, factor: float) -> None:
    """Millimetres for inches make every rate 25.4 times as large, and nothing else."""
    table = columns(seed)
    scaled = table | {
        name: multiplied(table[name], factor) for name in ("value", "low", "high", "limit")
    }
    assert_same(rates(fitted(table)), rates(fitted(scaled)), factor)


@given(seeds, st.sampled_from([0.621371, 1000.0, 0.001]))
@settings(max_examples=3)
def test_units_of_exposure_only_scale_the_rates(seed: int, factor: float) -> None:
    """Miles for kilometres divide every rate, and nothing else."""
    table = columns(seed)
    kilometres = table.pop("distance_km")
    one = fitted(table | {"exposure": kilometres})
    other = fitted(table | {"exposure": multiplied(kilometres, factor)})
    assert_same(rates(one), rates(other), 1 / factor)


@given(seeds, st.sampled_from([0.0, 4.0]))
@settings(max_examples=3)
def test_what_falls_is_what_rises_in_a_mirror(seed: int, new: float) -> None:
    """A thickness that wears from 4.0 mm down has the rates of a figure that wears from 0 up."""
    table = columns(seed)

    def mirrored(values: list[float | None]) -> list[float | None]:
        return [None if each is None else new - each for each in values]

    falling = table | {
        "value": mirrored(table["value"]),
        "low": mirrored(table["high"]),
        "high": mirrored(table["low"]),
        "limit": mirrored(table["limit"]),
        "direction": [-1] * len(table["value"]),
    }
    one, other = fitted(table), fitted(falling)
    assert_same(rates(one), rates(other))
    assert other.scales is not None and one.scales is not None
    assert -other.scales.start == pytest.approx(new - one.scales.start, abs=1e-4)


@given(seeds)
@settings(max_examples=2)
def test_other_families_do_not_matter(seed: int) -> None:
    """Tyres in the same table change nothing about chains."""
    chains, tyres = columns(seed), columns(seed + 1)
    tyres["position"] = ["rear_wheel.tyre"] * len(tyres["position"])
    tyres["series"] = [f"tyre of {each}" for each in tyres["series"]]
    both = {name: chains[name] + tyres[name] for name in chains}
    fit = fit_wear(both)
    assert [each.family.name for each in fit.families] == ["chain elongation", "tyre elongation"]
    assert_same(rates(fitted(chains)), rates(fit.families[0]))
