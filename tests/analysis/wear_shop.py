"""Simulated workshops whose true rates, gauges and spreads are known: what wear tests rest on."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Gauge:
    """One gauge: what it adds, its standard error, and its marks if it is a go/no-go gauge."""

    name: str
    bias: float
    error: float
    marks: tuple[float, ...] = ()


DIAL = Gauge("dial", 0.02, 0.03)
CALIPER = Gauge("caliper", -0.02, 0.02)
RULER = Gauge("ruler", 0.0, 0.08)
GO = Gauge("go", 0.0, 0.015, (0.5, 0.75))


@dataclass(frozen=True)
class Plan:
    """What is true of a simulated shop; figures grow with wear, in % of chain elongation."""

    count_parts: int = 400
    ridings: tuple[tuple[str, float], ...] = (
        ("courier", 0.26),
        ("commute", 0.20),
        ("family", 0.16),
    )
    """Median rate of each kind of riding, per 1,000 km."""
    models: tuple[tuple[str, float], ...] = (("plain", 1.0), ("hard", 0.7), ("soft", 1.35))
    """Factor of each model."""
    spread: float = 0.2
    bike_spread: float = 0.15
    count_per_bike: int = 3
    start: float = 0.02
    start_spread: float = 0.03
    wander: float = 0.1
    """How far a part strays from its own line in one unit of exposure, as a share of its rate."""
    gauges: tuple[Gauge, ...] = (DIAL, CALIPER, RULER, GO)
    found_share: float = 0.0
    most_readings: int = 3
    limit: float = 0.75
    worst: float = np.inf
    """What nothing wears beyond."""


@dataclass(frozen=True)
class Shop:
    """A table of readings as columns, and what is true behind it."""

    columns: dict[str, list[Any]]
    rates: dict[str, float]
    """Series -> true rate per 1,000 km."""
    plan: Plan = field(default_factory=Plan)

    def where(self, keep: Any) -> Shop:
        """Give the shop with only some of its readings."""
        rows = [row for row in range(len(self.columns["series"])) if keep(self, row)]
        some = {name: [values[row] for row in rows] for name, values in self.columns.items()}
        return replace(self, columns=some)


def simulated(seed: int, plan: Plan | None = None) -> Shop:
    """Give one to a few readings of every part, by gauges with bias and error, some go/no-go."""
    plan = plan or Plan()
    rng = np.random.default_rng(seed)
    size = plan.count_parts
    riding, model = (rng.integers(0, len(of), size) for of in (plan.ridings, plan.models))
    count_bikes = -(-size // plan.count_per_bike)
    bike = rng.integers(0, count_bikes, size)
    rates = (
        np.array([rate for _, rate in plan.ridings])[riding]
        * np.array([factor for _, factor in plan.models])[model]
        * np.exp(rng.normal(0, plan.bike_spread, count_bikes)[bike])
        * np.exp(rng.normal(0, plan.spread, size))
    )
    is_found = rng.random(size) < plan.found_share
    fitted_at = rng.uniform(0, 1000, size)
    start = plan.start + rng.normal(0, plan.start_spread, size)
    start += np.where(is_found, rates * rng.uniform(0.3, 2.0, size), 0.0)
    columns: dict[str, list[Any]] = {name: [] for name in _COLUMNS}
    for part in range(size):
        visits = np.sort(rng.uniform(0.2, 4.0, rng.integers(1, plan.most_readings + 1)))
        if is_found[part]:
            visits -= visits[0]
        steps = np.diff(visits, prepend=0.0)
        strayed = np.cumsum(rng.normal(0, 1, len(visits)) * np.sqrt(steps) * plan.wander)
        for x, stray in zip(visits, strayed, strict=True):
            _read(columns, rng, plan, start[part] + rates[part] * (x + stray))
            columns["series"].append(f"part-{part:05d}")
            columns["part"].append(f"part-{part:05d}")
            columns["bike"].append(f"bike-{bike[part]:05d}")
            columns["riding"].append(plan.ridings[riding[part]][0])
            columns["model"].append(plan.models[model[part]][0])
            columns["distance_km"].append(1000 * x)
            columns["days"].append(100 * x)
            columns["is_from_new"].append(not is_found[part])
            columns["measured_at"].append(float(fitted_at[part] + 250 * x))
    count = len(columns["series"])
    columns |= {"position": ["chain"] * count, "quantity": ["elongation"] * count}
    columns |= {"limit": [plan.limit] * count, "direction": [1] * count}
    known = {f"part-{part:05d}": float(rate) for part, rate in enumerate(rates)}
    return Shop(columns, known, plan)


_COLUMNS = (
    "series", "part", "bike", "riding", "model", "distance_km", "days", "is_from_new",
    "gauge", "value", "low", "high", "measured_at",
)  # fmt: skip


def _read(columns: dict[str, list[Any]], rng: np.random.Generator, plan: Plan, true: float) -> None:
    gauge = plan.gauges[int(rng.integers(len(plan.gauges)))]
    shown = float(min(true, plan.worst) + gauge.bias + rng.normal(0, gauge.error))
    columns["gauge"].append(gauge.name)
    if not gauge.marks:
        ends: tuple[float | None, ...] = (shown, None, None)
    else:
        below = [mark for mark in gauge.marks if shown >= mark]
        above = [mark for mark in gauge.marks if shown < mark]
        ends = (None, max(below, default=None), min(above, default=None))
    for name, end in zip(("value", "low", "high"), ends, strict=True):
        columns[name].append(end)
