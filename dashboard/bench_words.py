"""The words of the bench page: what stands beside an entry, and what is said of one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from dashboard.markup import capital
from dashboard.words import Words
from ledger.bench.shapes import (
    Bench,
    EntryAtBench,
    GaugeShown,
    LimitShown,
    Look,
    MeasureItem,
    PressureItem,
    TorqueItem,
    Uncovered,
)
from ledger.events import Event
from ledger.view import Reading, Setting

WHY_NOT = ("no time", "could not get at it", "no tool for it", "the keeper did not want it")
"""Why something was not checked, one press each."""
WHY_NOT_RIDDEN = (
    "no time",
    "weather",
    "waiting for a part",
    "not fit to be ridden",
    "battery or motor work",
)
NOT_COVERED = {
    "looked at in this job": "looked at already",
    "open fault": "has an open fault",
    "unsafe": "was found unsafe",
    "past its limit": "is past its limit",
    "not on this bike": "not on this bike",
}
LIKELY_FAULTS: dict[str, tuple[str, ...]] = {
    "drivetrain": (
        "worn",
        "skipping",
        "slow_shifting",
        "noise",
        "corroded",
        "stiff",
        "bent",
        "play",
    ),
    "front_brake": ("worn", "rub", "squeal", "weak", "spongy", "contaminated", "leak", "frayed"),
    "rear_brake": ("worn", "rub", "squeal", "weak", "spongy", "contaminated", "leak", "frayed"),
    "front_wheel": (
        "out_of_true",
        "uneven_tension",
        "play",
        "rough",
        "puncture",
        "cut",
        "worn",
        "perished",
    ),
    "rear_wheel": (
        "out_of_true",
        "uneven_tension",
        "play",
        "rough",
        "puncture",
        "cut",
        "worn",
        "broken",
    ),
    "steering": ("play", "rough", "loose", "creak", "misaligned", "cracked"),
    "suspension": ("leak", "stiff", "play", "noise", "weak"),
    "frame": ("cracked", "bent", "corroded", "creak"),
    "contact": ("loose", "worn", "creak", "bent", "missing"),
    "electrical": ("dead", "intermittent", "error_code", "low_capacity", "swollen", "corroded"),
    "equipment": ("loose", "rub", "missing", "bent", "dead", "broken"),
}
"""The faults offered first for each system; every other one is a list away."""
LIKELY: dict[str, tuple[str, ...]] = {
    "treatments": ("cleaned", "lubricated", "trued", "bled", "centred", "tightened", "greased"),
    "quantities": ("gap", "tension", "play", "sag", "clicks", "height"),
    "tasks": ("fitting", "brakes", "gears", "wheel_truing", "tyres", "cleaning", "bearings"),
    "faults": ("noise", "skipping", "squeal", "play", "slow_shifting", "creak"),
    "causes": ("wear", "dry", "cable_friction", "under_torqued", "impact", "unknown"),
}
"""What is offered first of a long list of the vocabulary."""
TASK_OF_STEP = {
    "bike": "booking_in", "rider": "booking_in", "booking": "booking_in", "distance": "booking_in",
    "quote": "booking_in", "answer": "booking_in", "inspect": "inspection", "measure": "inspection",
    "work": "fitting", "torque": "safety_check", "pressures": "safety_check",
    "hand_back": "safety_check", "close": "safety_check",
}  # fmt: skip
"""What the clock is started on at each step, unless this mechanic's last task here was another."""
CAUTION = (
    "The maker's instructions and local rules decide here, and a qualified mechanic checks before "
    "the bike is ridden."
)
UNIT_SIGNS = {"percent": "%", "degree": "°", "N*m": "N·m", "count": ""}


def unit(code: str) -> str:
    """Give a unit as it is written beside a field."""
    return UNIT_SIGNS.get(code, code)


def span(words: Words, reading: Reading) -> str:
    """Give a reading's figure, or the interval that marks left."""
    if reading.value is not None:
        return words.formats.figure(reading.value, unit(reading.unit))
    return words.formats.between(reading.value_low, reading.value_high, unit(reading.unit))


def last_reading(words: Words, item: MeasureItem) -> str:
    """Give what was read here last, and when."""
    if item.last is None:
        return "never measured here"
    said = f"{span(words, item.last)}, {words.formats.day(item.last.measured_at)}"
    return f"{said}, on the part before this one" if item.is_of_an_earlier_part else said


def last_setting(words: Words, last: Setting | None) -> str:
    """Give what was set here last, and when."""
    if last is None:
        return "never set here"
    return f"{words.formats.figure(last.value, unit(last.unit))}, {words.formats.day(last.set_at)}"


def limit(words: Words, shown: LimitShown | None) -> str:
    """Give the limit a reading is held against, and whose it is."""
    if shown is None:
        return "none known: nobody can say"
    side = "or more" if shown.direction == "above" else "or less"
    figure = words.formats.figure
    said = [f"due at {figure(shown.due, unit(shown.unit))} {side}"]
    if shown.watch is not None and shown.watch != shown.due:
        said.insert(0, f"watch from {figure(shown.watch, unit(shown.unit))}")
    if shown.unsafe is not None and shown.unsafe != shown.due:
        said.append(f"unsafe at {figure(shown.unsafe, unit(shown.unit))}")
    return ", ".join(said)


def limit_source(shown: LimitShown | None) -> str:
    """Give where a limit comes from."""
    if shown is None:
        return ""
    return "the maker's figure" if shown.is_makers else shown.source


def item_name(words: Words, item: MeasureItem) -> str:
    """Give a thing to measure: `chain`, `cassette (17T)`."""
    return words.place(item.position, item.point)


def gauge(one: GaugeShown) -> str:
    """Give a gauge, and that its calibration is overdue."""
    return f"{one.label}, calibration overdue" if one.is_overdue else one.label


def look(words: Words, one: Look | None) -> str:
    """Give the last look at a position or system."""
    if one is None:
        return "never looked at"
    fault = f", {words.fault(one.fault)}" if one.fault else ""
    return f"{one.verdict}{fault}, {words.formats.day(one.looked_at)}"


def not_covered(words: Words, left: Sequence[Uncovered]) -> list[str]:
    """Give what the rest of a system does not cover, by why."""
    by_why: dict[str, list[str]] = {}
    for one in left:
        if one.why != "not on this bike":
            by_why.setdefault(one.why, []).append(words.position(one.position))
    return [f"{', '.join(names)}: {NOT_COVERED[why]}" for why, names in by_why.items()]


def names(words: Words, positions: Sequence[str]) -> str:
    """Give positions with commas between."""
    return ", ".join(words.position(code) for code in positions)


# -- torque and pressure -----------------------------------------------------------------------


def hides(words: Words, item: TorqueItem) -> list[str]:
    """Give the warnings on what lies over a position."""
    said = []
    for over in item.hidden_by:
        name = words.position(over.position)
        if over.state == "off":
            said.append(f"The {name} will hide this: torque it before they are on again.")
        elif over.state == "on, torqued":
            said.append(f"The {name} hides this and is torqued: work here voids that torque.")
        else:
            said.append(f"The {name} hides this and is on again, not torqued yet.")
    return said


def makers_range(words: Words, item: TorqueItem) -> str:
    """Give the maker's range for a torque, where it was entered."""
    if item.maker_low is None and item.maker_high is None:
        return "not known: look at the part or its papers"
    return words.formats.between(item.maker_low, item.maker_high, "N·m")


def maximum(words: Words, item: PressureItem) -> str:
    """Give the lowest maximum of what carries the air, and what sets it."""
    if item.maximum is None:
        return "none known"
    by = f", set by the {words.position(item.set_by)}" if item.set_by else ""
    return f"{words.formats.figure(item.maximum, unit(item.canonical_unit))}{by}"


def maximum_not_known(words: Words, item: PressureItem) -> str:
    """Give whose maximum nobody entered."""
    if not item.unknown:
        return ""
    return f"Not known of the {names(words, item.unknown)}: look at the marks on it."


# -- what was recorded -------------------------------------------------------------------------


def entry_line(words: Words, entry: EntryAtBench) -> str:
    """Give one entry in a line, with its verdict."""
    verdict = entry.data.get("verdict")
    said = words.line(entry.kind, entry.data)
    return f"{said}, {verdict}" if verdict and entry.kind in ("measured", "inspected") else said


def recorded_line(words: Words, bench: Bench, events: Sequence[str]) -> str:
    """Give what was just recorded."""
    found = [entry_line(words, one) for one in bench.entries if one.event in events]
    return "; ".join(found[:3]) or "recorded"


def overtaken(words: Words, event: Event) -> str:
    """Give what somebody recorded at a place since the page was drawn."""
    place = words.position(event.data.position)  # type: ignore[union-attr]  # only entries at a place
    when = words.formats.time(event.occurred_at)
    verdict = getattr(event.data, "verdict", None)
    if verdict in ("watch", "due", "unsafe"):
        found = f"{event.actor} found the {place} {verdict} at {when}"
    elif event.kind == "inspected":
        found = f"{event.actor} looked at the {place} at {when} ({verdict})"
    elif event.kind in ("measured", "adjusted"):
        done = "measured" if event.kind == "measured" else "set"
        found = f"{event.actor} {done} the same at the {place} at {when}"
    else:
        found = f"{event.actor} entered something at the {place} at {when}"
    return f"{found}; look again."


def clock_minutes(since: datetime, now: datetime) -> int:
    """Give whole minutes a clock has run."""
    return max(0, int((now - since).total_seconds() // 60))


def plain(value: Decimal | None) -> str:
    """Give a figure as it would be typed; empty for none."""
    return "" if value is None else f"{value.normalize():f}"


def typed_line(typed: dict[str, Any]) -> str:
    """Give what was left half typed, in a few words."""
    said = [str(value) for value in typed.values() if not isinstance(value, bool)]
    return capital(", ".join(said))[:200]
