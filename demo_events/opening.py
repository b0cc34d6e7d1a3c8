"""The book's own events: mechanics, gauges, and the terms with their two changes."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from random import Random
from typing import Any

from demo_events.days import MIDNIGHTS, day_index
from demo_events.desk import Commit, Desk
from demo_events.names import CURRENCY, MECHANIC_NAMES
from demo_events.parameters import (
    CONSUMABLES,
    FIXED_COST,
    GAUGES,
    LABOUR_RATE,
    PAID_HOURS,
    PRICE_CHANGE,
    PRICE_FACTOR,
    SELLABLE_HOURS,
    TAX_RATE,
    TIER_PLAN,
    TIER_PRICES,
    TIERS,
    WAGE_CHANGE,
    WAGE_FACTOR,
    WAGES,
)

LABELS = {"quick_check": "quick check", "full_service": "full service", "overhaul": "overhaul"}
WINDOWS = (("puncture", 30, 300), ("squeal", 90, 1000), ("slow_shifting", 120, 1500))


def opening(seed: int, count_units: int) -> Iterator[Commit]:
    """Give the commits of the book itself, in order: at the start and before each change."""
    desk = Desk(Random(f"{seed}/opening"))
    start = MIDNIGHTS[0] + 10 * 3600
    _save(desk, start, "mechanic_registered", _mechanics(count_units))
    _save(desk, start + 600, "gauge_registered", [_gauge(code) for code in GAUGES])
    _save(desk, start + 1800, "terms_set", [_first_terms(count_units)])
    for year in (2024, 2025, 2026):
        day = day_index(date(year, 5, 28))
        tools = [_gauge(code, year) for code in GAUGES if "torque" in GAUGES[code].quantities]
        _save(desk, _noon(day), "gauge_registered", tools)
    day = day_index(date.fromisoformat(PRICE_CHANGE)) - 13
    prices = {"from_on": PRICE_CHANGE, "labour_rate_minor": _raised(LABOUR_RATE)}
    _save(desk, _noon(day), "terms_set", [{**prices, "tiers": _tiers(PRICE_FACTOR)}])
    day = day_index(date.fromisoformat(WAGE_CHANGE)) - 12
    wages = {"from_on": WAGE_CHANGE, "wages": _wages(count_units, WAGE_FACTOR)}
    _save(desk, _noon(day), "terms_set", [wages])
    yield from desk.take_day()


def _noon(day: int) -> int:
    return MIDNIGHTS[day] + 12 * 3600


def _raised(minor: int) -> int:
    return round(minor * PRICE_FACTOR / 10) * 10


def _save(desk: Desk, at: int, kind: str, payloads: list[dict[str, Any]]) -> None:
    drafts = [desk.draft(kind, at + place, "m1", data) for place, data in enumerate(payloads)]
    desk.save(at + len(drafts) + 20, drafts)


def _mechanics(count_units: int) -> list[dict[str, Any]]:
    return [
        {
            "mechanic": f"m{number + 1}",
            "role": "owner" if number == 0 else "mechanic",
            "name": MECHANIC_NAMES[number % 3] + (f" {number // 3 + 1}" if number > 2 else ""),
        }
        for number in range(count_units * 3)
    ]


def _gauge(code: str, year: int = 2023) -> dict[str, Any]:
    gauge = GAUGES[code]
    data: dict[str, Any] = {"gauge": code, "label": gauge.label}
    data["quantities"] = list(gauge.quantities)
    # A ruler is read in inches, but its chain readings count in % of twelve of them.
    factor, unit = (100 / 12, "%") if gauge.unit == "in" else (1, gauge.unit)
    data["error"] = {"value": f"{gauge.error * factor:.3g}", "unit": unit}
    if gauge.resolution:
        data["resolution"] = {"value": f"{gauge.resolution * factor:.3g}", "unit": unit}
    if "torque" in gauge.quantities:
        data.update(calibrated_on=f"{year}-06-01", calibration_due_on=f"{year + 1}-06-01")
    return data


def _tiers(factor: float) -> list[dict[str, Any]]:
    return [
        {
            "code": tier,
            "label": LABELS[tier],
            "price_minor": round(TIER_PRICES[tier] * factor / 10) * 10,
            "minutes": sum(minutes for _, minutes in TIER_PLAN[tier]),
            "tasks": [{"task": task, "minutes": minutes} for task, minutes in TIER_PLAN[tier]],
        }
        for tier in TIERS
    ]


def _wages(count_units: int, factor: float) -> list[dict[str, Any]]:
    return [
        {"mechanic": f"m{number + 1}", "minor_per_hour": round(WAGES[number % 3] * factor)}
        for number in range(count_units * 3)
    ]


def _first_terms(count_units: int) -> dict[str, Any]:
    return {
        "from_on": "2023-10-01",
        "currency": CURRENCY,
        "labour_rate_minor": LABOUR_RATE,
        "tax_rate": TAX_RATE,
        "rounding": "half even",
        "fixed_cost_minor": FIXED_COST * count_units,
        "consumables_minor": CONSUMABLES,
        "sellable_hours": str(SELLABLE_HOURS * count_units),
        "paid_hours": str(PAID_HOURS * count_units),
        "tiers": _tiers(1.0),
        "wages": _wages(count_units, 1.0),
        "windows": [
            {"fault": fault, "days": days, "distance_km": km} for fault, days, km in WINDOWS
        ],
    }
