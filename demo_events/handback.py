"""The end of a job: torque pass, pressures, release, and the charge."""

from __future__ import annotations

from random import Random
from typing import Any

from demo_events.names import CURRENCY
from demo_events.parameters import CONFIRMED_SHARE, JUDGED_SHARE
from demo_events.visit import Slot, Visit
from demo_events.work import log_labour, prevent

TORQUE_ORDER = (
    "cassette", "rear_brake.rotor", "front_brake.rotor", "chainring.outer", "bottom_bracket",
    "crank", "stem", "rear_wheel", "front_wheel", "saddle", "seatpost", "pedals",
)  # fmt: skip
"""What is hidden first, what hides it after."""

PRESSURE = {"courier": 5.0, "commute": 4.0, "touring": 4.2, "family": 3.0}
WARNINGS = (
    ("front_brake", "New pads bite only after some twenty stops."),
    ("rear_wheel", "Have the spokes looked at again after 300 km."),
    ("chain", "The new chain wants oil after the first rain."),
)
NOT_RIDDEN = ("pouring rain", "yard full of bikes", "keeper took it straight along")
TOO_SMALL = "child's bike, too small"


def finish(visit: Visit, slot: Slot) -> None:
    """Torque what was disturbed, set the pressures, do the last check, release the bike."""
    visit.take(slot)
    prevent(visit)
    _torque_pass(visit)
    _pressures(visit)
    visit.clock = max(visit.clock, slot.end)
    kind = "quoted" if visit.come_back_of is None else "come-back"
    log_labour(visit, slot, "safety_check", kind)
    _release(visit)
    visit.save()


def _torque_pass(visit: Visit) -> None:
    rng = visit.shop.rng
    for position in TORQUE_ORDER:
        if position in visit.torque and rng.random() > 0.01:
            visit.add("adjusted", {"position": position, **visit.shop.torque(position)})


def _pressures(visit: Visit) -> None:
    rng = visit.shop.rng
    for wheel in ("front_wheel", "rear_wheel"):
        is_due = visit.tier in ("full_service", "overhaul") and rng.random() < 0.25
        if not is_due and wheel not in visit.wheels:
            continue
        visit.add("adjusted", _pressure(visit, wheel))


def _pressure(visit: Visit, wheel: str) -> dict[str, Any]:
    rng = visit.shop.rng
    bar = PRESSURE[visit.bike.rider.riding] + (0.3 if wheel == "rear_wheel" else 0)
    bar += round(rng.gauss(0, 0.2), 1)
    before = bar * (0.5 + rng.random() * 0.45)
    if rng.random() < 0.15:
        figures = [{"value": str(round(x * 14.5038)), "unit": "psi"} for x in (before, bar)]
    else:
        figures = [{"value": f"{x:.1f}", "unit": "bar"} for x in (before, bar)]
    data: dict[str, Any] = {"position": f"{wheel}.tyre", "quantity": "pressure"}
    data.update(before=figures[0], after=figures[1], tool="G-pump")
    return data


def _release(visit: Visit) -> None:
    rng, bike = visit.shop.rng, visit.bike
    is_ridden = rng.random() < 0.93 and bike.kind != "child"
    data: dict[str, Any] = {"is_test_ridden": is_ridden}
    if not is_ridden:
        data["why_not_ridden"] = TOO_SMALL if bike.kind == "child" else rng.choice(NOT_RIDDEN)
    data["rechecked"] = ["front_brake", "rear_brake"] + (["steering"] if rng.random() < 0.5 else [])
    warnings = list(visit.warnings)
    if rng.random() < 0.12:
        warnings.append(rng.choice(WARNINGS))
    if warnings:
        data["warnings"] = [{"position": at, "warning": text} for at, text in warnings]
    data["handed_to"] = bike.rider.keeper
    visit.add("released", data)


def close(visit: Visit, at: int) -> None:
    """Charge what was agreed, or write it off where the work came back, and end the job."""
    visit.clock = at
    visit.actor = visit.shop.mechanics[0] if visit.shop.rng.random() < 0.5 else visit.actor
    if visit.come_back_of is not None:
        _goodwill(visit, "Came back; on the house.", visit.treated_minutes, is_extra=False)
    elif visit.shop.rng.random() < 0.03:
        _goodwill(visit, "Oiled the lock and the bell.", 6, is_extra=True)
    lines = [_charge(visit, number, line) for number, line in enumerate(visit.lines)]
    data: dict[str, Any] = {"lines": lines}
    if lines:
        data["currency"] = CURRENCY
    visit.add("job_closed", data)
    _judge(visit)
    visit.save()


def _judge(visit: Visit) -> None:
    """Now and then somebody says whether a visit answered for earlier work; they say the truth."""
    answered = visit.come_back_of or visit.returned
    share = CONFIRMED_SHARE if answered else JUDGED_SHARE if visit.seems_returned else 0.0
    # Drawn by the job alone: what else is drawn, or how often, changes nobody's judgement.
    if Random(f"{visit.shop.seed}/{visit.job}/judged").random() >= share:
        return
    if answered:
        visit.add_extra("come_back_judged", {"is_come_back": True, "answers": answered})
    else:
        why = "New damage; the earlier repair held."
        visit.add_extra("come_back_judged", {"is_come_back": False, "why": why})


def _goodwill(visit: Visit, note: str, minutes: int, is_extra: bool) -> None:
    """Give work away; minutes stand here only if no labour event books them already."""
    value = round(visit.shop.labour_rate * minutes / 60 / 10) * 10
    data: dict[str, Any] = {"task": "other", "value_minor": value, "currency": CURRENCY}
    if is_extra:
        data["minutes"] = minutes
    visit.add("goodwill_given", {**data, "note": note})


def _charge(visit: Visit, number: int, line: dict[str, Any]) -> dict[str, Any]:
    charged = {**line, "line": f"{visit.job}.c{number}"}
    if visit.come_back_of is None:
        charged["quote_line"] = line["line"]
    if visit.forms[line["line"]] == "up to" and line["line_type"] == "labour":
        factor = visit.shop.rng.uniform(0.85, 1.0)
        charged["net_minor"] = round(line["net_minor"] * factor / 10) * 10
    return charged
