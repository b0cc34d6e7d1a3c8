"""Slips of the pen among readings are flagged and left out; clean readings and worn parts are not.

Pads start at 4 mm and are due at 1 mm; a pad gauge errs by about 0.1 mm.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from ledger.analysis.wear import FamilyFit, fit_wear
from tests.analysis.wear_shop import Gauge, Plan, simulated

PADS = Plan(
    count_parts=200,
    ridings=(("courier", 0.6), ("commute", 0.4)),
    start=0.0,
    start_spread=0.1,
    gauges=(Gauge("pad gauge", 0.05, 0.1), Gauge("caliper", -0.02, 0.04)),
    limit=3.0,
)


@cache
def pads(plan: Plan = PADS) -> dict[str, list[Any]]:
    """Give readings of pads' thickness in mm."""
    columns = dict(simulated(7, plan).columns)
    worn = np.array(columns["value"])
    count = len(worn)
    return columns | {
        "value": (4.0 - worn).tolist(),
        "limit": [1.0] * count,
        "direction": [-1] * count,
        "position": ["front_brake.pads"] * count,
        "quantity": ["thickness"] * count,
    }


def with_value(table: dict[str, list[Any]], row: int, value: float) -> dict[str, list[Any]]:
    """Give a table with another figure in one row."""
    return table | {"value": [value if at == row else v for at, v in enumerate(table["value"])]}


def fitted(table: dict[str, list[Any]]) -> FamilyFit:
    """Give the one family, fitted."""
    (family,) = fit_wear(table).families
    return family


def flags(table: dict[str, list[Any]]) -> dict[int, str]:
    """Give the rows flagged and why."""
    return {flag.row: flag.why for flag in fitted(table).flagged}


def thick(table: dict[str, list[Any]], count: int) -> list[int]:
    """Give the first rows of series read that many times whose figure is 2 to 3.5 mm."""
    read = {series: table["series"].count(series) for series in set(table["series"])}
    return [
        row
        for row, (series, value) in enumerate(zip(table["series"], table["value"], strict=True))
        if read[series] == count and 2.0 < value < 3.5
    ]


INCHES = "it would fit if it was entered in inches for mm"
POINT = "it would fit if it was entered with the point one place off"


@pytest.mark.parametrize(("factor", "slip"), [(1 / 25.4, INCHES), (10.0, POINT), (0.1, POINT)])
@pytest.mark.parametrize("count", [2, 3])
def test_a_slip_is_flagged_and_named(count: int, factor: float, slip: str) -> None:
    """2.9 mm entered in inches as 0.114, as 29 or as 0.29: something is flagged every time, that
    reading alone in 7 parts of 8, whichever of the part's readings it is, and named in 6: what
    is expected is an 80 % interval, and a slip is named where its mended figure lies inside."""
    rows = thick(pads(), count)[:24]
    found = [flags(with_value(pads(), row, pads()["value"][row] * factor)) for row in rows]
    assert all(found)
    alone = [each.keys() == {row} for row, each in zip(rows, found, strict=True)]
    named = [each == {row: slip} for row, each in zip(rows, found, strict=True)]
    assert sum(alone) >= 24 * 7 / 8 and sum(named) >= 24 * 6 / 8


MENDS = {INCHES: (25.4,), POINT: (10.0, 0.1)}
MENDS |= {"it would fit if it was entered in mm for inches": (1 / 25.4,)}


def test_a_slip_is_offered_only_where_the_mended_figure_lies_in_what_is_expected() -> None:
    """Of figures a little off a slip, too, none is called one whose mended figure is not inside."""
    rows, offered, others = thick(pads(), 3)[:6], 0, 0
    for factor in (1 / 25.4, 10.0, 0.1):
        for off in (0.7, 0.85, 1.0, 1.2, 1.4):
            for row in rows[:3]:
                table = with_value(pads(), row, pads()["value"][row] * factor * off)
                for flag in fitted(table).flagged:
                    mended = [table["value"][flag.row] * by for by in MENDS.get(flag.why, ())]
                    assert not mended or any(flag.low <= one <= flag.high for one in mended)
                    offered, others = offered + bool(mended), others + (not mended)
    assert offered >= 3 and others >= 3


def test_two_readings_swapped_are_flagged() -> None:
    """Front and rear figures swapped at the second of three visits are both left out."""
    table = {name: list(values) for name, values in pads().items()}
    count = len(table["value"])
    # Truly the front went 3.6, 3.2, 2.8 mm and the rear 3.2, 2.4, 1.6.
    for series, figures in (("front", (3.6, 2.4, 2.8)), ("rear", (3.2, 3.2, 1.6))):
        for km, figure in zip((1000.0, 2000.0, 3000.0), figures, strict=True):
            for values in table.values():
                values.append(values[0])
            table["series"][-1] = table["part"][-1] = series
            table["position"][-1] = f"{series}_brake.pads"
            table["distance_km"][-1], table["value"][-1] = km, figure
            table["is_from_new"][-1], table["gauge"][-1] = True, "caliper"
    assert flags(table).keys() == {count + 1, count + 4}


def test_a_part_changed_without_being_recorded_is_flagged() -> None:
    """A pad that reads as new after 3,000 km is left out, and that another was fitted is named."""
    rows = [
        row
        for row in thick(pads(), 2)
        if pads()["series"].index(pads()["series"][row]) == row - 1
        and pads()["distance_km"][row] > 2000
    ]
    found = flags(with_value(pads(), rows[0], 4.0))
    assert found == {
        rows[0]: "it reads as new: a part fitted and not recorded, or another part's figure"
    }


def test_what_is_flagged_moves_no_rate() -> None:
    """With one absurd figure every other part's rate is what it is without that reading."""
    row = thick(pads(), 3)[0]
    without = {name: values[:row] + values[row + 1 :] for name, values in pads().items()}
    one, other = fitted(without), fitted(with_value(pads(), row, 290.0))
    assert one.state is not None and other.state is not None
    assert [flag.row for flag in other.flagged] == [row]
    assert one.family.series == other.family.series
    assert one.state.log_rate == pytest.approx(other.state.log_rate, abs=0.002)


def test_an_expected_range_goes_with_every_flag() -> None:
    """A flag says what was expected, as the gauge would show it, and how far off the figure is."""
    row = thick(pads(), 3)[0]
    true = pads()["value"][row]
    (flag,) = fitted(with_value(pads(), row, 0.1)).flagged
    assert flag.row == row and flag.series == pads()["series"][row]
    assert flag.low - 0.2 < true < flag.high + 0.2 and flag.high - flag.low < 1.5
    assert flag.off > 4.5


def test_clean_readings_are_flagged_less_than_once_in_a_thousand() -> None:
    """Over eight simulated shops without slips, fewer than 1 in 1,000 readings is left out."""
    plans = [replace(PADS, count_parts=400), Plan(count_parts=400, found_share=0.3)]
    shops = [simulated(seed, plan) for plan in plans for seed in range(4)]
    count = sum(len(shop.columns["series"]) for shop in shops)
    assert count > 6000
    assert sum(len(fitted(shop.columns).flagged) for shop in shops) < count / 1000


def test_worn_out_parts_are_at_least_that_and_not_flagged() -> None:
    """Pads down to the plate, which wear no further, are no slips: their rate is "at least"."""
    plan = replace(PADS, ridings=(("courier", 1.2), ("commute", 0.8)), worst=3.5)
    table = pads(plan)
    is_worn = np.array(table["value"]) < 0.6
    assert is_worn.sum() >= 30
    fit = fitted(table)
    assert fit.scales is not None and fit.rates is not None
    assert fit.scales.worn_out == pytest.approx(-0.5, abs=0.05)
    assert not [flag for flag in fit.flagged if is_worn[flag.row]]
    assert all(fit.family.is_interval[is_worn[fit.family.row]])
    true = np.log([simulated(7, plan).rates[series] for series in fit.family.series])
    worn = np.bincount(fit.family.series_of, fit.family.is_interval) > 0
    assert np.mean(fit.rates.mean[worn] - true[worn]) == pytest.approx(0.0, abs=0.06)
