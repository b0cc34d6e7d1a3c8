"""The ways a bike goes wrong: where, what, why, how often, and what puts it right."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FaultMode:
    """One way to go wrong; hazards are true rates a 1,000 km and a year."""

    position: str
    fault: str
    cause: str
    task: str
    minutes: int
    per_1000_km: float
    per_year: float
    needs: str
    """The sort of bike it can happen to: any, disc, rim, gears, hub, electric."""
    fix: str
    """treated, adjusted, torqued or part."""
    work_at: str
    """Where the work is done."""
    what: str = ""
    """The treatment, or the sort of part."""
    complaint: str = ""
    """What the rider says; empty where nobody comes in for it."""
    steps: tuple[tuple[str, str], ...] = ()
    """What is tried on the way to the cause, and what it shows."""
    verdict: str = "due"


FAULT_MODES: tuple[FaultMode, ...] = (
    FaultMode(
        "rear_derailleur", "slow_shifting", "indexing_off", "gears", 12, 0.03, 0.025, "gears",
        "adjusted", "rear_shifter", complaint="It hesitates going up a gear.",
        steps=(("looked along the cage", "hanger straight"), ("one turn of the barrel", "better")),
    ),
    FaultMode(
        "shift_cables", "stiff", "cable_friction", "gears", 28, 0.0085, 0.025, "gears",
        "part", "shift_cables", "cables", complaint="The shifter has gone heavy.",
        steps=(("unhooked the cable at the derailleur", "drags in the last housing"),),
    ),
    FaultMode(
        "hub_gear", "slow_shifting", "cable_stretch", "gears", 12, 0.017, 0.032, "hub",
        "adjusted", "hub_gear", complaint="It slips between gears.",
    ),
    FaultMode(
        "front_brake.pads", "squeal", "glazed_pad", "brakes", 15, 0.015, 0.021, "disc",
        "treated", "front_brake.pads", "sanded", complaint="The front brake screams.",
        steps=(("wiped the rotor", "no change"), ("looked at the pads", "glazed")),
    ),
    FaultMode(
        "rear_brake.pads", "squeal", "contaminated_pad", "brakes", 18, 0.011, 0.013, "disc",
        "part", "rear_brake.pads", "pads disc", complaint="The back brake howls in the wet.",
        steps=(("cleaned and bedded in", "back after ten stops"), ("smelt the pads", "oil")),
    ),
    FaultMode(
        "rear_brake.rotor", "squeal", "bent_rotor", "brakes", 14, 0.0064, 0.011, "disc",
        "treated", "rear_brake.rotor", "straightened",
        steps=(("spun the wheel", "rubs once a turn"), ("moved the caliper", "still once a turn")),
    ),
    FaultMode(
        "front_brake.caliper", "rub", "caliper_off_centre", "brakes", 10, 0.013, 0.017, "disc",
        "treated", "front_brake.caliper", "centred",
    ),
    FaultMode(
        "front_brake", "spongy", "air_in_line", "brake_bleed", 35, 0.0043, 0.017, "disc",
        "treated", "front_brake", "bled", complaint="The front lever comes to the bar.",
    ),
    FaultMode(
        "rear_brake", "weak", "old_fluid", "brake_bleed", 35, 0.0043, 0.017, "disc",
        "treated", "rear_brake", "bled", complaint="The back brake does little.",
    ),
    FaultMode(
        "rear_brake", "weak", "cable_friction", "brakes", 18, 0.0085, 0.021, "rim",
        "treated", "rear_brake", "lubricated", complaint="The back brake is hard to pull.",
    ),
    FaultMode(
        "bottom_bracket", "creak", "under_torqued", "bearings", 26, 0.0064, 0.013, "any",
        "torqued", "bottom_bracket", complaint="It creaks on every turn of the pedals.",
        steps=(("swapped the pedals", "still creaks"), ("nipped up the ring bolts", "still"),
               ("checked the cups", "turned by hand")),
    ),
    FaultMode(
        "bottom_bracket", "rough", "bearing_worn", "bearings", 40, 0.0053, 0.0085, "any",
        "part", "bottom_bracket", "bottom_bracket", complaint="The cranks grind.",
    ),
    FaultMode(
        "headset", "play", "under_torqued", "bearings", 15, 0.0064, 0.013, "any",
        "adjusted", "headset", complaint="A knock when I brake.",
    ),
    FaultMode(
        "rear_wheel.tube", "puncture", "thorn_or_glass", "tyres", 18, 0.028, 0.011, "any",
        "part", "rear_wheel.tube", "tube", complaint="Flat at the back.",
    ),
    FaultMode(
        "front_wheel.tube", "puncture", "pinch", "tyres", 15, 0.015, 0.0064, "any",
        "part", "front_wheel.tube", "tube", complaint="Flat at the front.",
    ),
    FaultMode(
        "rear_wheel", "out_of_true", "spoke_fatigue", "wheel_truing", 30, 0.013, 0.011, "any",
        "treated", "rear_wheel", "trued", complaint="The back wheel wobbles.",
    ),
    FaultMode(
        "front_wheel", "out_of_true", "impact", "wheel_truing", 25, 0.0085, 0.011, "any",
        "treated", "front_wheel", "trued",
    ),
    FaultMode(
        "chain", "noise", "dry", "chain", 10, 0.025, 0.032, "any",
        "treated", "chain", "lubricated", complaint="The chain rattles and squeaks.",
    ),
    FaultMode(
        "rear_light", "intermittent", "connector", "electrical", 20, 0.0043, 0.021, "any",
        "treated", "rear_light", "cleaned", complaint="The back light comes and goes.",
        steps=(("new bulb holder contact", "no change"), ("moved the plug", "flickers")),
    ),
    FaultMode(
        "seatpost", "creak", "dry", "other", 14, 0.0043, 0.011, "any",
        "treated", "seatpost", "greased",
        steps=(("stood on the pedals", "quiet"), ("sat down", "creaks")),
    ),
    FaultMode(
        "pedals", "play", "bearing_worn", "other", 12, 0.0043, 0.0085, "any",
        "part", "pedals", "pedals", complaint="A pedal wobbles.",
    ),
    FaultMode(
        "rear_wheel.hub", "play", "bearing_worn", "bearings", 35, 0.0043, 0.011, "any",
        "adjusted", "rear_wheel.hub",
    ),
    FaultMode(
        "saddle", "loose", "under_torqued", "other", 8, 0.0043, 0.011, "any",
        "torqued", "saddle", complaint="The saddle tips.",
    ),
    FaultMode(
        "wiring", "intermittent", "connector", "electrical", 28, 0.0043, 0.017, "electric",
        "treated", "wiring", "cleaned", complaint="The motor cuts out over bumps.",
        steps=(("read the codes", "none stored"), ("wiggled each plug", "cuts out at one")),
    ),
    FaultMode(
        "display", "error_code", "firmware", "electrical", 20, 0.0021, 0.017, "electric",
        "treated", "display", "updated", complaint="It shows an error and stops helping.",
    ),
    FaultMode(
        "rear_wheel.rim", "cracked", "overload", "wheel_building", 80, 0.0013, 0.0013, "any",
        "part", "rear_wheel.rim", "rim", complaint="Something ticks in the back wheel.",
        verdict="unsafe",
    ),
)  # fmt: skip

SKIPPING = FaultMode(
    "chain", "skipping", "worn_sprocket", "drivetrain", 15, 0, 0, "gears", "part", "cassette",
    "cassette", complaint="The new chain jumps when I push.",
    steps=(("checked for a stiff link", "none"), ("a new chain on the old teeth", "jumps")),
)  # fmt: skip
"""What follows when a long chain was replaced and the worn cassette stayed on."""

PREVENTIVE: dict[str, str] = {
    "chain": "lubricated",
    "shift_cables": "lubricated",
    "front_brake.pads": "cleaned",
    "seatpost": "greased",
    "headset": "greased",
    "rear_light": "cleaned",
    "wiring": "sealed",
    "rear_wheel": "tensioned",
}
"""Position -> the unbilled treatment that keeps trouble away there."""


def applies(mode: FaultMode, sorts: frozenset[str]) -> bool:
    """Tell whether a mode can happen to a bike of these sorts."""
    return mode.needs in sorts


BY_SORTS: dict[frozenset[str], tuple[FaultMode, ...]] = {}


def modes_for(sorts: frozenset[str]) -> tuple[FaultMode, ...]:
    """Give the modes a bike of these sorts can have, computed once a sort."""
    found = BY_SORTS.get(sorts)
    if found is None:
        found = BY_SORTS[sorts] = tuple(mode for mode in FAULT_MODES if applies(mode, sorts))
    return found
