"""What the rules about bikes, words, figures, gauges and strikes refuse and accept."""

from __future__ import annotations

from dataclasses import dataclass

from ledger.rules import BookFacts
from tests.rule_shorthand import (
    BIKE,
    BORN,
    CHAIN,
    CHAIN_STRUCK,
    FACTS,
    FAULT_CURED,
    MAKERS,
    OTHER,
    READ,
    RIM,
    ROTOR,
    SQUEAL,
    SWOLLEN,
    TREATED,
    WEAR,
    E,
    amount,
    job,
    km,
    march,
    pads,
    part,
    pressure,
    rotor,
    torque,
)
from tests.strategies import event_id


@dataclass(frozen=True)
class Case:
    """What a rule finds fault with, and the nearest thing it lets pass."""

    history: list[E]
    bad: E
    good: E
    field: str
    says: str
    facts: BookFacts = FACTS


CASES: dict[str, Case] = {
    "bike_missing": Case(
        [BORN], march("treated", TREATED, bike=None), march("treated", TREATED), "bike", "no bike"
    ),
    "unknown_bike": Case(
        [BORN], march("treated", TREATED, bike=OTHER), march("treated", TREATED), "bike", OTHER
    ),
    "before_registration": Case(
        [BORN],
        E("2023-12-31", "treated", TREATED),
        E("2024-01-01", "treated", TREATED),
        "occurred_at",
        "registered only after 2023-12-31 13:00",
    ),
    "registered_twice": Case(
        [BORN], march("bike_registered"), march("treated", TREATED), "bike", "registered already"
    ),
    "in_future": Case(
        [BORN],
        E("2026-01-01", "treated", TREATED),
        E("2025-12-31", "treated", TREATED),
        "occurred_at",
        "2026-01-01 13:00 is in the future",
    ),
    "distance_falls": Case(
        [BORN, READ],
        march("distance_read", km(999)),
        march("distance_read", km(999, computer_replaced=True)),
        "data.odometer",
        "999.000 km is less than 1000.000 km",
    ),
    "distance_jump": Case(
        [BORN, READ],
        E("2024-02-04", "distance_read", km(3001)),
        E("2024-02-04", "distance_read", km(3000)),
        "data.odometer",
        "2001.000 km more in 2 days",
    ),
    "position_occupied": Case(
        [BORN, CHAIN],
        march("part_fitted", part("chain", "c2")),
        march("part_fitted", part("chain", "c2", replaces="c1")),
        "data.position",
        "part c1 is fitted at chain",
    ),
    "nothing_fitted": Case(
        [BORN, CHAIN],
        march("part_removed", {"position": "cassette"}),
        march("part_removed", {"position": "chain"}),
        "data.position",
        "no part is known at cassette",
    ),
    "wrong_part": Case(
        [BORN, CHAIN],
        march("part_removed", part("chain", "c9")),
        march("part_removed", part("chain", "c1")),
        "data.part",
        "part c9 is not at chain",
    ),
    "part_elsewhere": Case(
        [BORN, CHAIN],
        march("part_fitted", part("cassette", "c1")),
        march("part_fitted", part("cassette", "c2")),
        "data.part",
        f"c1 is fitted at chain of bike {BIKE}",
    ),
    "reading_of_other_part": Case(
        [BORN, CHAIN],
        march("measured", {**WEAR, "value": amount("0.3", "%"), "part": "c9"}),
        march("measured", {**WEAR, "value": amount("0.3", "%"), "part": "c1"}),
        "data.part",
        "part c9 was measured while part c1 is",
    ),
    "fault_not_open": Case(
        [BORN, SQUEAL],
        march("treated", {**TREATED, "puts_right": {"fault": "squeal"}}),
        march("treated", {**TREATED, **FAULT_CURED}),
        "data.puts_right",
        "no squeal is open at rear_brake.pads",
    ),
    "battery_work": Case(
        [BORN, SWOLLEN],
        march("treated", {"position": "battery", "treatment": "charged"}),
        march("treated", {"position": "display", "treatment": "reset"}),
        "data.position",
        "swollen",
    ),
    "unknown_word": Case(
        [BORN],
        march("treated", {**TREATED, "position": "rear_brake.pad"}),
        march("treated", TREATED),
        "data.position",
        "'rear_brake.pad' is not a known position",
    ),
    "unknown_tier": Case(
        [BORN],
        march("job_opened", {"tier": "platinum"}, **job()),
        march("job_opened", {"tier": "quick_check"}, **job()),
        "data.tier",
        "'platinum' is not a tier",
    ),
    "impossible_figure": Case(
        [BORN],
        march("measured", {**WEAR, "value": amount("8.1", "%")}),
        march("measured", {**WEAR, "value": amount("8", "%")}),
        "data.value",
        "8.1 % is not possible for chain wear",
    ),
    "unusual_figure": Case(
        [BORN],
        march("measured", {**WEAR, "value": amount("3.1", "%")}),
        march("measured", {**WEAR, "value": amount("3", "%")}),
        "data.value",
        "3.1 % is unusual for chain wear",
    ),
    "reversed_bounds": Case(
        [BORN],
        march("measured", {**WEAR, "low": amount("0.75", "%"), "high": amount("0.5", "%")}),
        march("measured", {**WEAR, "low": amount("0.5", "%"), "high": amount("0.75", "%")}),
        "data.low",
        "0.750 is above the upper bound 0.500",
    ),
    "outside_makers_range": Case(
        [BORN],
        torque("6.1", **MAKERS),
        torque("6", **MAKERS),
        "data.after",
        "6.1 N·m is above the maker's highest",
    ),
    "above_lowest_maximum": Case(
        [BORN, RIM],
        pressure("4.1"),
        pressure("4"),
        "data.after",
        "4.1 bar is above the lowest maximum known here, 4 bar of the front rim",
    ),
    "laxer_than_maker": Case(
        [BORN, ROTOR],
        rotor("1.7"),
        rotor("1.9"),
        "data.limit",
        "1.700 is laxer than the maker's 1.800",
    ),
    "backing_plate_unsaid": Case(
        [BORN],
        march("measured", pads("3", with_backing_plate=None)),
        march("measured", pads("3", with_backing_plate=True)),
        "data.with_backing_plate",
        "not said whether the backing plate",
    ),
    "unknown_gauge": Case(
        [BORN],
        march("measured", {**WEAR, "value": amount("0.3", "%"), "gauge": "ruler"}),
        march("measured", {**WEAR, "value": amount("0.3", "%"), "gauge": "caliper"}),
        "data.gauge",
        "gauge ruler is not registered",
    ),
    "gauge_not_for_that": Case(
        [BORN],
        torque("5", tool="caliper"),
        march("measured", pads("3", gauge="caliper")),
        "data.tool",
        "caliper is not registered for torque",
    ),
    "calibration_overdue": Case(
        [BORN],
        E("2025-01-01", "measured", {**WEAR, "value": amount("0.3", "%"), "gauge": "old"}),
        E("2024-12-31", "measured", {**WEAR, "value": amount("0.3", "%"), "gauge": "old"}),
        "data.gauge",
        "due on 2024-12-31",
    ),
    "unknown_mechanic": Case(
        [BORN],
        march("treated", TREATED, actor="nobody"),
        march("treated", TREATED, actor="tom"),
        "actor",
        "nobody is not a registered mechanic",
    ),
    "strike_unknown": Case(
        [BORN, CHAIN],
        march("event_struck", {"target": event_id(99), "reason": "no"}),
        march("event_struck", {"target": event_id(2), "reason": "no"}),
        "data.target",
        "no event",
    ),
    "strike_of_strike": Case(
        [BORN, CHAIN, CHAIN_STRUCK],
        march("event_struck", {"target": event_id(3), "reason": "no"}),
        march("part_fitted", part("chain", "c1"), restores=event_id(2)),
        "data.target",
        "a strike cannot be struck",
    ),
    "struck_already": Case(
        [BORN, CHAIN, READ, CHAIN_STRUCK],
        march("event_struck", {"target": event_id(2), "reason": "no"}),
        march("event_struck", {"target": event_id(3), "reason": "no"}),
        "data.target",
        "is struck already",
    ),
    "strike_of_other_bike": Case(
        [BORN, CHAIN],
        march("event_struck", {"target": event_id(2), "reason": "no"}, bike=OTHER),
        march("event_struck", {"target": event_id(2), "reason": "no"}),
        "bike",
        f"not of bike {OTHER}",
    ),
    "restores_not_struck": Case(
        [BORN, CHAIN, READ, CHAIN_STRUCK],
        march("part_fitted", part("chain", "c1"), restores=event_id(3)),
        march("part_fitted", part("chain", "c1"), restores=event_id(2)),
        "restores",
        "no struck event",
    ),
}
