"""The wear of the demo's parts against the truth behind them (demo_events/truth_*).

What is true is defined in demo_events/README.md: a part has a rate per fair-weather kilometre, a
kilometre counts by its month's weather. So the true mean rate of a part over the kilometres it was
watched is its rate times fair-weather kilometres over plain ones. Cassettes and rings are left
out: a chain past its limit makes them wear faster, and the truth does not keep by how much.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow.parquet as pq
import pytest

import demo_events
from ledger.analysis.wear import FamilyFit
from ledger.book import Book
from ledger.figures.wear import BookWear, wear_of
from ledger.figures.wear_parts import parts_of
from ledger.figures.wear_shapes import was_past
from ledger.figures.wear_standing import LIKELY, in_order, likeliest
from tests.whole_demo import whole_demo

FOLDER = Path(demo_events.__file__).parent
FAMILIES = ("chain elongation", "pads thickness", "tyre tread_depth")
pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("demo_wear")]


@pytest.fixture(scope="module")
def wear(tmp_path_factory: pytest.TempPathFactory) -> BookWear:
    """The wear of the whole demo, fitted."""
    return wear_of(Book.open(whole_demo(tmp_path_factory)))


@pytest.fixture(scope="module")
def truth() -> dict[str, Any]:
    """The settings the demo was made with."""
    return json.loads((FOLDER / "truth.json").read_text("utf-8"))


def true_rates(fit: FamilyFit) -> np.ndarray:
    """Give each series' true mean rate per 1,000 km while watched; NaN where not watched."""
    rows = pq.read_table(FOLDER / "truth_readings.parquet").to_pandas()
    rows = rows.sort_values("part_km").groupby("part")
    parts = [series.split("/")[0] for series in fit.family.series]
    first, last = rows.first().reindex(parts), rows.last().reindex(parts)
    begun = (~fit.family.is_new).astype(float)
    km = last["part_km"].to_numpy() - begun * first["part_km"].to_numpy()
    weighted = last["weather_km"].to_numpy() - begun * first["weather_km"].to_numpy()
    found = last["rate"].to_numpy() * weighted / np.where(km > 0.1, km, np.nan)
    return np.asarray(found)


def is_inside(fit: FamilyFit) -> pd.DataFrame:
    """Give, for each watched series, whether it is from new, its coverage and how far off."""
    true, state = true_rates(fit), fit.state
    assert state is not None
    inside = (true >= state.rate(0.1)) & (true <= state.rate(0.9))
    off = state.log_rate - np.log(true)
    found = pd.DataFrame({"is_new": fit.family.is_new, "inside": inside, "off": off})
    return found[~np.isnan(true)]


@pytest.mark.parametrize("name", FAMILIES)
def test_true_rates_lie_in_their_intervals(wear: BookWear, name: str) -> None:
    """About four in five true rates lie inside, whether parts were fitted or found, and the rates
    are right on average within 6 %."""
    found = is_inside(wear.fit.family(name))
    assert len(found) > 200
    assert 0.73 <= found["inside"].mean() <= 0.87
    for _, some in found.groupby("is_new"):
        assert 0.70 <= some["inside"].mean() <= 0.90
    assert abs(found["off"].mean()) < 0.06


def test_true_rates_of_all_three_together(wear: BookWear) -> None:
    """75 to 85 % of the true rates of chains, pads and tyres lie inside their 80 % intervals."""
    found = pd.concat([is_inside(wear.fit.family(name)) for name in FAMILIES])
    assert len(found) > 2000
    assert 0.75 <= found["inside"].mean() <= 0.85


def contrast(fit: FamilyFit, one: tuple[str, str], other: tuple[str, str]) -> tuple[float, float]:
    """Give the log of the ratio of two levels' rates, and its standard error."""
    pool = fit.pool
    assert pool is not None
    weights = np.zeros(len(pool.columns) + 1)
    weights[1 + pool.columns.index(one)] = 1
    weights[1 + pool.columns.index(other)] = -1
    error = np.sqrt(weights @ pool.covariance @ weights)
    return float(weights[1:] @ pool.effects), float(error)


@pytest.mark.parametrize(
    ("name", "one", "other", "factors"),
    [
        ("pads thickness", "Brinewell S", "Brinewell O", (0.8, 1.1)),
        ("chain elongation", "Drovane X12", "Linkva 11", (0.82, 1.0)),
        ("chain elongation", "Drovane 9", "Linkva 8-10", (0.85, 1.0)),
        ("tyre tread_depth", "Rollmark Harbour 40", "Rollmark Breeze 35", (0.85, 1.1)),
    ],
)
def test_models_differ_as_they_truly_do(
    wear: BookWear, name: str, one: str, other: str, factors: tuple[float, float]
) -> None:
    """The ratio between two models (demo_events/catalogue.py) comes back within 3 of its errors,
    which are small enough to tell the models apart."""
    found, error = contrast(wear.fit.family(name), ("model", one), ("model", other))
    true = np.log(factors[0] / factors[1])
    assert abs(found - true) < 3 * error
    assert found < -1.5 * error


def realised(fit: FamilyFit) -> dict[str, float]:
    """Give the riders' true mean log rate by kind of riding, models set against each other.

    By the riders there are, whose luck is part of what is true, by the kilometres the book
    knows, and of parts watched for more than 300 of them.
    """
    family = fit.family
    ends = np.searchsorted(family.series_of, np.arange(len(family.series) + 1))
    known = family.x[ends[1:] - 1] - np.where(family.is_new, 0.0, family.x[ends[:-1]])
    rows = pq.read_table(FOLDER / "truth_readings.parquet").to_pandas()
    rows = rows.sort_values("part_km").groupby("part")
    parts = [series.split("/")[0] for series in family.series]
    begun = np.where(family.is_new, 0.0, rows.first().reindex(parts)["weather_km"])
    last = rows.last().reindex(parts)
    weighted = last["weather_km"].to_numpy() - begun
    with np.errstate(divide="ignore", invalid="ignore"):
        true = np.log(last["rate"].to_numpy() * weighted / 1000 / known)
    watched = (known > 0.3) & np.isfinite(true)
    columns = {"riding": family.factors["riding"], "model": family.factors["model"]}
    design = pd.get_dummies(pd.DataFrame(columns)[watched].astype(str)).astype(float)
    found = np.linalg.lstsq(design.to_numpy(), true[watched], rcond=None)[0]
    by_column = dict(zip(design.columns, found, strict=True))
    return {
        level: by_column[f"riding_{code}"] for code, level in enumerate(family.levels["riding"])
    }


@pytest.mark.parametrize("name", ["chain elongation", "pads thickness"])
@pytest.mark.parametrize("other", ["commute", "touring", "family"])
def test_kinds_of_riding_differ_as_they_truly_do(wear: BookWear, name: str, other: str) -> None:
    """Couriers' parts wear faster than others' by the true ratio, within 3 of its stated errors."""
    fit = wear.fit.family(name)
    found, error = contrast(fit, ("riding", "courier"), ("riding", other))
    true = realised(fit)
    assert abs(found - (true["courier"] - true[other])) < 3 * error
    assert error < 0.06


def test_gauges_differ_as_they_truly_do(wear: BookWear, truth: dict[str, Any]) -> None:
    """The dial reads above the ruler by its true bias, and the ruler errs most."""
    gauges = {each.gauge: each for each in wear.gauges if each.family == "chain elongation"}
    dial, ruler = gauges["G-dial"], gauges["G-ruler"]
    assert dial.bias - ruler.bias == pytest.approx(truth["gauges"]["G-dial"]["bias"], abs=0.03)
    assert ruler.error > 2 * dial.error


def test_next_to_nothing_is_flagged(wear: BookWear) -> None:
    """The demo has no slips of the pen in its live readings: fewer than 1 in 1,000 is flagged."""
    count = sum(len(each.used) for each in wear.fit.families)
    assert count > 7000
    assert sum(len(each.flagged) for each in wear.fit.families) < count / 1000


def test_parts_in_arrays_stand_as_each_part_does(wear: BookWear) -> None:
    """Counts and order made of arrays are those of the parts one by one."""
    for one in wear.standings:
        parts = parts_of(wear, one.each)
        fitted = [part for part in parts if part.is_fitted]
        past = [
            was_past(part) if part.chance_past is None else part.chance_past >= LIKELY
            for part in fitted
        ]
        assert one.count_past == sum(past)
        assert int(one.now.is_fitted.sum()) == len(fitted)
        listed = [part.series for part in likeliest([one], 12)]
        assert listed == [part.series for part in in_order(fitted)[:12]]
    assert sum(one.count_past for one in wear.standings) > 0
