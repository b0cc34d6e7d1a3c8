"""The true parameters behind the demo: what tests and analyses should be able to recover.

Rates are per 1,000 km ridden in fair weather; factors multiply; spreads are standard deviations
of natural logarithms. Money is in cents.
"""

from __future__ import annotations

from dataclasses import dataclass

RIDINGS = ("courier", "commute", "touring", "family")


@dataclass(frozen=True, slots=True)
class WearLaw:
    """How one sort of part wears: `start` goes up or down by `rate` per 1,000 km."""

    quantity: str
    unit: str
    start: float
    start_error: float
    rates: dict[str, float]
    """Median rate by kind of riding."""
    direction: int
    """+1 where wear makes the figure grow, -1 where it shrinks."""
    due: float
    digits: int = 2
    unsafe: float | None = None
    worst: float = 2.5
    """Nothing wears past this figure: by then it is metal on metal, or will not turn."""


def _rates(courier: float, commute: float, touring: float, family: float) -> dict[str, float]:
    return {"courier": courier, "commute": commute, "touring": touring, "family": family}


WEAR: dict[str, WearLaw] = {
    "chain": WearLaw(
        "elongation", "%", 0.02, 0.03, _rates(0.26, 0.21, 0.17, 0.19), 1, 0.75, worst=2.8
    ),
    "cassette": WearLaw("tooth_wear", "mm", 0, 0, _rates(0.062, 0.05, 0.042, 0.045), 1, 0.9),
    "ring": WearLaw("tooth_wear", "mm", 0, 0, _rates(0.052, 0.043, 0.036, 0.04), 1, 1.2),
    "pads": WearLaw(
        "thickness", "mm", 4.0, 0.1, _rates(0.8, 0.55, 0.42, 0.5), -1, 1.0, 1, 0.5, 0.5
    ),
    "rotor": WearLaw(
        "thickness", "mm", 1.8, 0.01, _rates(0.014, 0.011, 0.009, 0.01), -1, 1.55, 2, 1.5, 1.35
    ),
    "rim": WearLaw(
        "wall_thickness", "mm", 1.9, 0.04, _rates(0.03, 0.024, 0.018, 0.02), -1, 1.0, 2, 0.8, 0.6
    ),
    "tyre": WearLaw(
        "tread_depth", "mm", 3.0, 0.1, _rates(0.42, 0.33, 0.28, 0.3), -1, 0.5, 1, worst=0.1
    ),
    "battery": WearLaw(
        "capacity_left", "%", 100, 0.5, _rates(1.6, 1.3, 1.1, 1.2), -1, 60, 0, worst=35
    ),
}

PART_SPREAD = 0.16
RIDER_SPREAD = 0.22
CHAIN_DUE = ((11, 0.5), (2, 0.75), (1, 1.0))
"""Fewest sprockets -> the elongation at which a chain is due, in %."""
CASCADE = 3.0
"""A chain at twice its limit wears its cassette and ring (1 + this) times as fast."""

WEATHER = (1.55, 1.5, 1.25, 1.05, 0.9, 0.85, 0.85, 0.9, 1.0, 1.25, 1.35, 1.45)
"""Wear factor by month, January first: rain in autumn, salt on the roads in winter."""

WEEKLY_KM = {"courier": 135.0, "commute": 33.0, "touring": 30.0, "family": 13.0}
WEEKLY_SPREAD = 0.35
SEASON = {
    "courier": (0.95, 0.95, 1, 1, 1, 1, 0.95, 0.95, 1.05, 1.05, 1.05, 1.05),
    "commute": (0.8, 0.8, 0.95, 1.05, 1.15, 1.15, 0.95, 0.95, 1.15, 1.1, 0.9, 0.75),
    "touring": (0.35, 0.4, 0.8, 1.1, 1.5, 1.7, 1.9, 1.8, 1.3, 0.8, 0.4, 0.3),
    "family": (0.5, 0.5, 0.8, 1.1, 1.3, 1.4, 1.5, 1.4, 1.2, 1, 0.6, 0.5),
}
LAY_UP_MONTHS = (12, 1, 2)
LAY_UP_SHARE = {"courier": 0.0, "commute": 0.05, "touring": 0.5, "family": 0.35}

LATE_SHARE = {"courier": 0.45, "commute": 0.3, "touring": 0.2, "family": 0.35}
"""Share of riders who come late."""
LATE_FACTOR = 1.9
PROMPT_FACTOR = 0.85
GAP_DAYS = {"courier": 115.0, "commute": 1100.0, "touring": 1150.0, "family": 1150.0}
"""Mean days from one planned visit to the next."""
DEMAND = (0.6, 0.7, 1.15, 1.4, 1.3, 1.15, 1.0, 0.95, 1.0, 0.9, 0.75, 0.6)
"""How willing riders are to come in, by month: the spring rush."""
ONCE_SHARE = 0.4


@dataclass(frozen=True, slots=True)
class TrueGauge:
    """What a gauge does to the truth: it adds `bias` and an error, then rounds."""

    code: str
    label: str
    quantities: tuple[str, ...]
    unit: str
    bias: float
    error: float
    resolution: float


GAUGES = {
    gauge.code: gauge
    for gauge in (
        TrueGauge("G-dial", "chain gauge with a dial", ("elongation",), "%", 0.02, 0.03, 0.01),
        TrueGauge("G-go", "go/no-go chain gauge 0.5 and 0.75", ("elongation",), "%", 0, 0.015, 0),
        TrueGauge(
            "G-caliper",
            "caliper",
            ("elongation", "tooth_wear", "wall_thickness", "thickness"),
            "mm",
            0.0,
            0.04,
            0.01,
        ),
        TrueGauge("G-ruler", "12-inch ruler", ("elongation",), "in", 0.0, 0.008, 0.03125),
        TrueGauge("G-pad", "pad gauge", ("thickness",), "mm", -0.05, 0.12, 0.1),
        TrueGauge("G-depth", "tread depth gauge", ("tread_depth",), "mm", 0.05, 0.1, 0.1),
        TrueGauge("G-battery", "battery tester", ("capacity_left",), "%", 0.0, 1.5, 1.0),
        TrueGauge("G-torque-s", "torque wrench 2 to 20", ("torque",), "N·m", 0.0, 0.2, 0.1),
        TrueGauge("G-torque-l", "torque wrench 10 to 80", ("torque",), "N·m", 0.0, 0.8, 0.5),
        TrueGauge("G-pump", "pump gauge", ("pressure",), "bar", 0.0, 0.08, 0.1),
    )
}
CHAIN_GAUGES = (("G-dial", 0.45), ("G-caliper", 0.7), ("G-go", 0.9), ("G-ruler", 1.0))
"""Which gauge a chain meets, with the running share."""

TIERS = ("quick_check", "full_service", "overhaul")
TIER_MIX = {
    "courier": (0.46, 0.46, 0.08),
    "commute": (0.3, 0.5, 0.2),
    "touring": (0.2, 0.5, 0.3),
    "family": (0.36, 0.46, 0.18),
}
TIER_PLAN: dict[str, tuple[tuple[str, int], ...]] = {
    "quick_check": (("inspection", 22), ("safety_check", 20)),
    "full_service": (("inspection", 20), ("drivetrain", 105), ("safety_check", 15)),
    "overhaul": (
        ("inspection", 25),
        ("bearings", 125),
        ("drivetrain", 130),
        ("brakes", 80),
        ("safety_check", 20),
    ),
}
"""Quoted minutes by task, in the order of the work."""
LABOUR_DRIFT = {"quick_check": 0.0, "full_service": 0.03, "overhaul": 0.1}
"""Mean log of actual over quoted minutes."""
LABOUR_SPREAD = 0.25
OLD_BIKE_DRIFT = 0.12
"""Added to the drift for a bike that came with an unknown history."""

RETURN_SHARE = {"quick_check": 0.16, "full_service": 0.1, "overhaul": 0.06, "come-back": 0.05}
"""Chance that a fault put right returns, by tier."""
RETURN_DAYS = 28.0
"""Mean days until it does."""
PREVENTION_FACTOR = 0.5
PREVENTION_DAYS = 240
PREVENTION_SHARE = {"quick_check": 0.1, "full_service": 0.3, "overhaul": 0.4}
FOUND_LATER_SHARE = {"quick_check": 0.05, "full_service": 0.2, "overhaul": 0.3}

ANSWERS = (("yes", 0.83), ("later", 0.91), ("no", 0.97), ("no reply", 1.0))
"""What a keeper says to a line for a part, with the running share."""

BAD_BATCH = ("Brinewell S", "B2025-04")
BAD_BATCH_FACTOR = 2.0

TAX_RATE = "0.21"
PRICE_CHANGE = "2025-01-01"
WAGE_CHANGE = "2025-04-01"
PRICE_FACTOR = 1.06
TIER_PRICES = {"quick_check": 3700, "full_service": 11_600, "overhaul": 27_400}
LABOUR_RATE = 5600
WAGES = (3300, 2900, 2300)
"""Cents an hour of the owner, the second full-timer and the Saturday mechanic."""
WAGE_FACTOR = 1.05
FIXED_COST = 290_000
CONSUMABLES = 240
SELLABLE_HOURS = 66
PAID_HOURS = 83
"""Hours a week the shop pays for: two full-timers of 38 and a Saturday of 7."""
REPLACED_SHARE = 0.03
"""Share of first quotes that replace one the keeper found too dear."""
BREAK_CLOCK_SHARE = 0.1
"""Share of stretches over the midday break that are clocked, and paused for it."""
CONFIRMED_SHARE = 0.06
"""Share of visits about earlier work that somebody confirms to be so at the end."""
JUDGED_SHARE = 0.05
"""Share of visits with a fault that was there before, long ago, judged not to be about that."""
BRINGS_SHARE = 0.2
"""Share of faults somebody would complain of that bring the rider in; the rest wait."""
