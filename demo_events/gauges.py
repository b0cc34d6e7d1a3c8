"""What a gauge shows of a true figure: biased, noisy, rounded, sometimes only an interval."""

from __future__ import annotations

from random import Random
from typing import Any, NamedTuple

from demo_events.parameters import CHAIN_GAUGES, GAUGES, WEAR


class Shown(NamedTuple):
    """What is written down, and the figure a mechanic judges by."""

    fields: dict[str, Any]
    gauge: str
    figure: float


def _noisy(rng: Random, gauge: str, true: float) -> float:
    known = GAUGES[gauge]
    return true + known.bias + rng.gauss(0, known.error)


def _amount(value: str, unit: str) -> dict[str, str]:
    return {"value": value, "unit": unit}


def _dial(rng: Random, true: float) -> Shown:
    text = f"{_noisy(rng, 'G-dial', true):.2f}"
    text = "0.00" if text == "-0.00" else text
    return Shown({"value": _amount(text, "%")}, "G-dial", float(text))


def _caliper_chain(rng: Random, true: float) -> Shown:
    text = f"{_noisy(rng, 'G-caliper', 127.0 * (1 + true / 100)):.2f}"
    fields = {"value": _amount(text, "mm"), "over_pitches": 10}
    return Shown(fields, "G-caliper", (float(text) / 127.0 - 1) * 100)


def _ruler(rng: Random, true: float) -> Shown:
    marks = round(_noisy(rng, "G-ruler", 12 * (1 + true / 100)) * 32)
    text = f"{marks / 32:.5f}".rstrip("0").rstrip(".")
    fields = {"value": _amount(text, "in"), "over_pitches": 24}
    return Shown(fields, "G-ruler", (marks / 384 - 1) * 100)


def _go(rng: Random, true: float) -> Shown:
    seen = _noisy(rng, "G-go", true)
    if seen < 0.5:
        return Shown({"high": _amount("0.5", "%")}, "G-go", 0.3)
    if seen < 0.75:
        return Shown({"low": _amount("0.5", "%"), "high": _amount("0.75", "%")}, "G-go", 0.5)
    return Shown({"low": _amount("0.75", "%")}, "G-go", 0.75)


_CHAIN = {"G-dial": _dial, "G-caliper": _caliper_chain, "G-go": _go, "G-ruler": _ruler}


def read_chain(rng: Random, true: float, speeds: int) -> Shown:
    """Give a reading of a chain by one of the shop's four ways to measure it."""
    draw = rng.random()
    gauge = next(code for code, share in CHAIN_GAUGES if draw <= share)
    if gauge == "G-go" and speeds == 1:
        gauge = "G-dial"
    return _CHAIN[gauge](rng, true)


_OTHERS = {"tread_depth": "G-depth", "capacity_left": "G-battery"}


def read_part(rng: Random, law: str, true: float) -> Shown:
    """Give a reading of any other worn part."""
    known = WEAR[law]
    gauge = _OTHERS.get(known.quantity, "G-caliper")
    if law == "pads" and rng.random() < 0.7:
        gauge = "G-pad"
    digits = 2 if gauge == "G-caliper" else known.digits
    figure = max(0.0, _noisy(rng, gauge, true))
    text = f"{min(figure, 100.0):.{digits}f}"
    return Shown({"value": _amount(text, known.unit)}, gauge, float(text))
