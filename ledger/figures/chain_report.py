"""What is said about chains that run long: by rider, of the shop, by threshold, by gear."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ledger.figures.prices import PartPrice

CONDITIONS = (
    "Shares are of looks at a chain, at visits where one was measured; of chains nobody brought in "
    "nothing is known.",
    "Looks at chains found on a bike count, but how far they had gone before is not known, and "
    "their first kilometres are in no rate.",
    "A rider's share and rate are drawn towards the shop's, the more so the less was seen.",
    "Differences are an account of what was used up against changing every chain at its limit if "
    "lives hold, extra chains subtracted. They do not say what caused what.",
    "Sprockets are taken to wear faster for whoever wears chains faster, and chainrings to answer "
    "to a worn chain much as cassettes do where few were measured.",
    "Ranges of a rider are from how surely their chains' readings, their rate and the shop's "
    "sprockets are known; a bike of which no cassette is on record is charged for chains alone.",
    "Costs are at this shop's newest prices, net of tax, work to fit included, within the range of "
    "wear at which it has changed chains.",
    "They are costs and no limits: what a chain that skips or breaks does to a rider is in none of "
    "them. The maker's limits and a qualified mechanic decide.",
)
"""What every figure of the report is conditional on."""


@dataclass(frozen=True, slots=True)
class RiderChains:
    """One rider's chains. Money in minor units, net of tax; None where it cannot be known."""

    who: str
    """The rider's id; of a bike without a rider `bike` and its tag."""
    rider: str | None
    bikes: tuple[str, ...]
    seen: int
    """Looks at a chain: visits at which one was measured and could be judged."""
    past: int
    """Looks that found it past its limit."""
    share: float
    share_low: float
    share_high: float
    over: float | None
    """Percent points past the limit at the middle one of the visits where it was past."""
    beyond_km: float | None
    beyond_low_km: float | None
    beyond_high_km: float | None
    cassettes_followed: int
    """Cassettes used up within a year after a chain of the same bike was found past its limit."""
    chainrings_followed: int
    distance_km: float | None
    """Ridden between readings of one chain; the money below is over this distance."""
    spent_minor: float | None
    extra_chains: float | None
    difference_minor: float | None
    difference_low_minor: float | None
    """None, as the high end, where nobody else's sprockets were seen."""
    difference_high_minor: float | None


@dataclass(frozen=True, slots=True)
class ShopChains:
    """All chains of the shop."""

    count_riders: int
    seen: int
    past: int
    count_open: int
    """Measured, but by an interval that leaves open whether past the limit, or with no limit."""
    typical_share: float
    typical_low: float
    typical_high: float
    count_above: int
    """Riders whose whole range lies above the typical share."""
    distance_km: float
    spent_minor: float | None
    difference_minor: float | None
    difference_low_minor: float | None
    difference_high_minor: float | None


@dataclass(frozen=True, slots=True)
class ThresholdCost:
    """What changing chains at one wear costs, in minor units per 1,000 km."""

    change_at: float
    cost_minor: float
    low_minor: float
    high_minor: float
    chains_a_cassette: float
    chance_near_least: float
    is_near_least: bool
    """Within 2 % of the least cost."""


@dataclass(frozen=True, slots=True)
class LimitCurve:
    """Cost against the change-at threshold, of bikes whose chains have one limit."""

    limit: float
    thresholds: tuple[ThresholdCost, ...]
    least_at: float
    prices: dict[str, PartPrice]
    """`chain`, `cassette`, and `chainring` where one was charged."""
    count_changed: int
    """Chains whose change the range of thresholds is from."""
    count_stretches: int
    """Stretches of cassettes that the wear under worn chains was learned from."""


@dataclass(frozen=True, slots=True)
class GearWear:
    """How one sprocket of one bike wears; a share is None where only one was measured."""

    teeth: int
    count: int
    rate: float
    rate_low: float
    rate_high: float
    share: float | None
    share_low: float | None
    share_high: float | None


@dataclass(frozen=True, slots=True)
class BikeGears:
    """Which gears one bike is ridden in, smallest sprocket first."""

    bike: str
    who: str
    gears: tuple[GearWear, ...]


@dataclass(frozen=True, slots=True)
class ChainsReport:
    """Everything about chains run long, the surest late rider first."""

    riders: Sequence[RiderChains]
    shop: ShopChains | None
    """None where no chain was measured."""
    curves: tuple[LimitCurve, ...]
    gears: Sequence[BikeGears]
    """Those that tell most first."""
    conditions: tuple[str, ...]
    missing: tuple[str, ...]
    """What could not be worked out, and why."""
    currency: str
