"""The shapes of what is estimated from a book's faults: curves, trends, rates, funnels, prevention.

Plain figures throughout, none of them NaN or infinite; None is "cannot be told". A name that is
None was never recorded. Intervals are of 95 % unless they say otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

LEVEL = 0.95

RecurrenceBy = Literal["system", "model", "tier", "riding"]
RECURRENCE_BY: tuple[RecurrenceBy, ...] = ("system", "model", "tier", "riding")
Judgement = Literal["getting worse", "getting better", "no trend shown", "too few to judge"]
Clock = Literal["days", "km"]
ExposureUnit = Literal["years fitted", "1,000 km", "come-backs expected"]


@dataclass(frozen=True, slots=True)
class Span:
    """A figure with its interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One step of a curve: its value from this age on, until the next point."""

    days: float
    value: float
    low: float
    high: float
    count_at_risk: int
    """How many were still followed at this age."""


# -- how often things come back ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RecurrenceGroup:
    """What happened to the units of one group: of a system, part model, tier or kind of riding."""

    key: str | None
    label: str
    """Of a model with its make and what it is (`Brinewell S, pads`); else the key."""
    count_units: int
    count_bikes: int
    count_events: int
    curve: tuple[CurvePoint, ...]
    """Mean number of events a unit has had by each age; empty where there are too few."""
    mean: Span | None
    """Events a unit has had by the age at which groups are held against each other; None where
    nobody of the group was followed for so long, or there are too few."""
    difference: Span | None
    """`mean` less that of all other groups' units together (of a model: of other models of the
    same sort of part); None where that cannot be told."""
    words: str

    @property
    def is_enough(self) -> bool:
        """Whether there are enough units and events for a curve."""
        return bool(self.curve)

    @property
    def is_different(self) -> bool:
        """Whether the interval of the difference from the rest leaves out 0."""
        return self.difference is not None and not (
            self.difference.low <= 0 <= self.difference.high
        )


@dataclass(frozen=True, slots=True)
class Recurrence:
    """How often faults come, by group, as mean cumulative functions with robust intervals."""

    by: RecurrenceBy
    unit: str
    """What one unit is: "a bike", "a part", "a job"."""
    event: str
    """What is counted: "a fault found", "a come-back"."""
    at_days: int
    """The age at which groups are held against each other."""
    groups: tuple[RecurrenceGroup, ...]
    """Most events a unit first; those with too few to judge last."""


# -- is it getting worse -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TrendTest:
    """One test of whether events come at a constant rate."""

    name: Literal["Laplace", "MIL-HDBK-189"]
    statistic: float
    p: float
    """How likely a constant rate looks this much like a trend, either way."""


@dataclass(frozen=True, slots=True)
class PowerFit:
    """A power law of events by age: above 1, the shape says that they come ever faster."""

    shape: Span
    rate_now: float | None
    """Of one bike: events a year (or 1,000 km) at the end of watching, as the fit has it."""


@dataclass(frozen=True, slots=True)
class Trend:
    """Whether events come more and more often, for one bike or a group of them."""

    key: str | None
    """The group, or the bike; None for all."""
    clock: Clock
    """What time is counted in: days, or km the bikes rode."""
    count_units: int
    count_events: int
    """Looks that found something new: faults found in one job are one look."""
    length: float
    """Days or km watched, of all units together."""
    tests: tuple[TrendTest, ...]
    power_law: PowerFit | None
    """None where the events settle none."""
    chance_to_see_doubling: float
    """How likely so many events would be judged to get worse, had their rate doubled half-way."""
    judgement: Judgement
    words: str


# -- how often parts of a model go wrong ---------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ModelRate:
    """How often something befell one model of part, beside other models of its sort."""

    sort: str
    """What the part is: `pads`, `chain`: the last word of its position."""
    make: str | None
    model: str
    count: int
    """Parts (of faults), or repairs (of come-backs)."""
    exposure: float
    """In `exposure_unit`; expected are those of repairs like any of their sort."""
    exposure_unit: ExposureUnit
    count_events: int
    rate: Span
    """Events per exposure of this model, shrunk towards its sort's; interval of 95 %. Of a
    sort's only model its own, with an exact interval. Of
    come-backs: the share of repairs that come back within their window, of those of which that
    can be told."""
    counted_rate: float | None
    """The same as counted, drawn towards nothing: of come-backs, the sort's share times how many
    times as many came back as were expected of those repairs."""
    rest_rate: float | None
    """The same of all other models of the sort; None where there is none."""
    ratio: Span | None
    """The model's rate over that of the rest of its sort, shrunk."""
    chance_above: float | None
    """How likely the model's true rate is above that of the rest."""
    is_above: bool
    """Whether that is likely enough to say so."""
    words: str


@dataclass(frozen=True, slots=True)
class ModelRates:
    """Rates of part models, the sort's highest first."""

    by_years: tuple[ModelRate, ...]
    """Faults found at a part's position a year fitted."""
    by_distance: tuple[ModelRate, ...]
    """Faults a 1,000 km, of parts whose distance is known."""
    come_backs: tuple[ModelRate, ...]
    """Come-backs of the repairs that fitted the model."""


# -- whose repairs hold --------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class GuidePoint:
    """One size of the guide curve behind a funnel: the rates at which a unit is just marked."""

    size: float
    low_rate: float
    high_rate: float


@dataclass(frozen=True, slots=True)
class FunnelUnit:
    """One tier's or mechanic's repairs beside all others' of the same strata."""

    key: str | None
    count_repairs: int
    count_come_back: int
    count_immature: int
    """Followed for less than their window without coming back: held for so long as they were."""
    expected: float
    """How many would have come back, had they fared as the others' did."""
    rate: float
    """Come-backs a repair."""
    adjusted_rate: float
    """The rate it would have with the mix of work of all."""
    size: float
    """Where it stands on the funnel: repairs of the usual mix, fully followed."""
    low_count: int
    high_count: int
    """The least and the greatest count that could be chance."""
    low_rate: float
    high_rate: float
    p: float
    """How likely, at most, chance alone takes any unit of the shop this far out."""
    mark: Literal["more than chance", "fewer than chance"] | None
    power: float
    """How likely a rate `FaultFunnel.ratio` times that of the others would be marked."""
    words: str

    @property
    def is_marked(self) -> bool:
        """Whether it is not put down to chance."""
        return self.mark is not None


@dataclass(frozen=True, slots=True)
class FaultFunnel:
    """Whether the repairs of a tier or a mechanic come back more often than chance has it."""

    by: Literal["tier", "mechanic"]
    strata: str
    """What repairs are held apart by, in words."""
    units: tuple[FunnelUnit, ...]
    """In order of their names; empty where there are no repairs to judge."""
    guide: tuple[GuidePoint, ...]
    pooled_rate: float
    level: float
    ratio: float
    inflation: float
    """How many times wider than for independent repairs the variance is: bikes fare alike."""
    words: str


# -- does prevention pay -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PreventionArm:
    """The bikes that had, or did not have, an unbilled preventive treatment at a position."""

    count_bikes: int
    count_trouble: int
    """How many of them had a fault found there afterwards, however late."""
    count_followed: int
    """How many were followed to the horizon, or had trouble by then."""
    risk: Span | None
    """Share with trouble found by the horizon (Kaplan-Meier); None without bikes."""
    risk_between_looks: float | None
    """The same where trouble is put anywhere between the last look without it and the one that
    found it."""
    curve: tuple[CurvePoint, ...]
    """Share with trouble found by each age."""
    next_minutes: float | None
    """Median minutes of the next job in which a fault was put right there."""
    count_next: int
    """Bikes that had such a job."""
    count_by_horizon: int = 0
    """How many of them had trouble by the horizon."""


@dataclass(frozen=True, slots=True)
class PreventionRow:
    """Trouble at one position after unbilled preventive work there, and without it."""

    position: str
    treatments: tuple[str, ...]
    horizon_days: int
    with_it: PreventionArm
    without_it: PreventionArm
    difference: Span | None
    """Risk with it less risk without it by the horizon, strata weighed alike, with an interval of
    95 %; None where none can be compared."""
    difference_80: Span | None
    """The same with an interval of 80 %."""
    difference_between_looks: float | None
    p: float | None
    """Of the stratified log-rank test of time to trouble up to the horizon, exact."""
    hazard_ratio: Span | None
    """How many times as often trouble comes with it as without, up to the horizon, within strata,
    with 95 %: see `ledger.analysis.hazard_ratio`. None where nothing came while both were
    followed; infinite where only bikes with it had any."""
    minutes_difference: Span | None
    """Median minutes of the next job there with it less without it."""
    count_compared: int
    """Bikes in the strata that the difference is of."""
    needed_each: int | None
    """Bikes a side that show halved trouble in 8 shops of 10; None before any trouble was seen."""
    verdict: Literal["less often", "more often", "no clear difference", "too few to judge"]
    words: str

    @property
    def is_enough(self) -> bool:
        """Whether there are enough to judge."""
        return self.verdict != "too few to judge"


@dataclass(frozen=True, slots=True)
class Prevention:
    """Whether unbilled preventive work goes with less trouble, position by position."""

    rows: tuple[PreventionRow, ...]
    """Positions with any such work, most bikes with it first."""
    count_not_compared: int
    """Preventive treatments that put no bike on its side: billed, or not done in the bike's first
    job with nothing open there."""
    words: str
