"""Units as they are written at the bench, turned exactly into canonical figures.

The factors of the common units are exact fractions, from 1 in = 0.0254 m, 1 lb = 0.45359237 kg
and g = 9.80665 m/s². Anything else is asked of pint, which is imported only then.
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

from ledger.vocabulary.words import QuantityWord

if TYPE_CHECKING:
    from pint import UnitRegistry


class UnitProblem(ValueError):
    """A figure that cannot be read in the unit it was entered in."""

    def __init__(self, wrong: str, right: str) -> None:
        self.wrong, self.right = wrong, right
        super().__init__(f"{wrong}. {right}")


class Unit(NamedTuple):
    """What a unit measures, and how many of the dimension's base unit it is."""

    dimension: str
    factor: Fraction


_INCH = Fraction("0.0254")
_POUND_FORCE = Fraction("0.45359237") * Fraction("9.80665")
_KILOGRAM_FORCE = Fraction("9.80665")
_FOOT = 12 * _INCH
_DAY = Fraction(86_400)
_YEAR = Fraction("365.25") * _DAY

_COMMON: dict[str, dict[Fraction, str]] = {
    "length": {
        Fraction(1, 1000): "mm millimetre millimetres millimeter millimeters",
        Fraction(1, 100): "cm centimetre centimetres",
        Fraction(1): "m metre metres meter meters",
        Fraction(1000): "km kilometre kilometres kilometer kilometers",
        _INCH: 'in inch inches " ″ ” zoll',
        _FOOT: "ft foot feet ' ′",
        5280 * _FOOT: "mi mile miles",
    },
    "pressure": {
        Fraction(1): "pa pascal",
        Fraction(100): "mbar hpa",
        Fraction(1000): "kpa kilopascal",
        Fraction(100_000): "bar bars",
        Fraction(1_000_000): "mpa",
        _POUND_FORCE / _INCH**2: "psi lbf/in2 lb/in2",
    },
    "torque": {
        Fraction(1): "nm newtonmetre newtonmetres newtonmeter newtonmeters",
        Fraction(1, 100): "ncm",
        _POUND_FORCE * _INCH: "lbfin lbin lbsin inlbf inlb inlbs inchpound inchpounds",
        _POUND_FORCE * _FOOT: "lbfft lbft lbsft ftlbf ftlb ftlbs footpound footpounds",
        _KILOGRAM_FORCE / 100: "kgfcm kgcm",
        _KILOGRAM_FORCE: "kgfm kgm",
    },
    "force": {
        Fraction(1): "n newton newtons",
        Fraction(1000): "kn",
        Fraction(1, 10): "dan",
        _KILOGRAM_FORCE: "kgf kp",
        _POUND_FORCE: "lbf",
    },
    "share": {Fraction(1, 100): "% percent pct", Fraction(1, 1000): "‰"},
    "angle": {Fraction(1): "° deg degree degrees"},
    "count": {Fraction(1): "count counts click clicks cycle cycles pcs times ×"},
    "frequency": {Fraction(1): "hz hertz", Fraction(1000): "khz"},
    "voltage": {Fraction(1, 1000): "mv", Fraction(1): "v volt volts"},
    "energy": {Fraction(3600): "wh watthour watthours", Fraction(3_600_000): "kwh"},
    "time": {
        Fraction(1): "s sec second seconds",
        Fraction(60): "min minute minutes",
        Fraction(3600): "h hr hour hours",
        _DAY: "d day days",
        7 * _DAY: "wk week weeks",
        _YEAR / 12: "month months",
        _YEAR: "yr yrs year years",
    },
    "mass": {
        Fraction(1, 1000): "g gram grams",
        Fraction(1): "kg kilogram kilograms",
        Fraction("0.45359237"): "lb lbs pound pounds",
    },
}
_KNOWN = {
    name: Unit(dimension, factor)
    for dimension, units in _COMMON.items()
    for factor, names in units.items()
    for name in names.split()
}
_ENTERED_IN = {
    "length": "mm, cm or in",
    "pressure": "bar, psi or kPa",
    "torque": "N·m, lbf·in or lbf·ft",
    "force": "N or kgf",
    "share": "%",
    "angle": "degrees (°)",
    "count": "count (or clicks)",
    "frequency": "Hz",
    "voltage": "V",
    "energy": "Wh or kWh",
    "time": "min or h",
}
_UNITS_OF_UNIT = {"km": "km or miles", "day": "years, months, weeks or days"}
_NAMED = {
    "length1": "length",
    "length2": "area",
    "length3": "volume",
    "mass1": "mass",
    "time1": "time",
    "temperature1": "temperature",
    "current1": "current",
    "length1 time-1": "speed",
    "length-1 mass1 time-2": "pressure",
    "length1 mass1 time-2": "force",
    "length2 mass1 time-2": "torque",
    "length2 mass1 time-3": "power",
    "current-1 length2 mass1 time-3": "voltage",
}
_ONE_UNIT = r"[A-Za-zµ_]+(\^?-?[1-9])?"
_READABLE = re.compile(rf"{_ONE_UNIT}([*/]{_ONE_UNIT})*")
_FLATTEN = str.maketrans("", "", " ·⋅.-*")


@cache
def _registry() -> UnitRegistry[Decimal]:
    from pint import UnitRegistry

    return UnitRegistry(non_int_type=Decimal)


def _powers(unit: Any) -> str:
    powers = sorted((name.strip("[]"), power) for name, power in unit.dimensionality.items())
    return " ".join(f"{name}{power:.3g}" for name, power in powers)


def _dimension(unit: Any) -> str:
    """Name what a pint unit measures; a torque and an energy have the same dimension."""
    name = _NAMED.get(_powers(unit), "figure of another kind")
    if name != "torque":
        return name
    parts = [_powers(getattr(_registry(), part)) for part in unit._units]
    is_energy = any(part.startswith("length2 mass1 time-") for part in parts)
    return "energy" if is_energy else "torque"


def _from_pint(written: str) -> Unit | None:
    spelled = written.replace("²", "^2").replace("³", "^3")
    spelled = re.sub(r"[·⋅. ]", "*", spelled.strip())
    if not _READABLE.fullmatch(spelled):
        return None
    try:
        found = _registry().parse_units(spelled)
        base = (Decimal(1) * found).to_base_units()
    except Exception:
        # pint fails in many ways on what is no unit; all of them mean that it knows none.
        return None
    if found.dimensionless:
        return None  # a radian, a dozen and a share would pass for each other
    return Unit(_dimension(found), Fraction(base.magnitude))


@cache
def unit_named(written: str) -> Unit | None:
    """Give what a written unit means, however the bench spells it; None if it means nothing."""
    flat = written.strip().lower().translate(_FLATTEN)
    return _KNOWN.get(flat) or _from_pint(written)


def entered_in(quantity: QuantityWord) -> str:
    """Give the units to name when a quantity was entered in a wrong one."""
    if quantity.unit in _UNITS_OF_UNIT:
        return _UNITS_OF_UNIT[quantity.unit]
    unit = unit_named(quantity.unit)
    return _ENTERED_IN.get(unit.dimension, quantity.unit) if unit else quantity.unit


def _article(noun: str) -> str:
    return f"an {noun}" if noun[0] in "aeiou" else f"a {noun}"


def _factor(quantity: QuantityWord, value: str, written: str) -> Fraction:
    right = f"{quantity.label.capitalize()} is entered in {entered_in(quantity)}"
    unit, wanted = unit_named(written), unit_named(quantity.unit)
    if unit is None or wanted is None:
        raise UnitProblem(f"{written!r} is not a unit that is known here", right)
    if unit.dimension != wanted.dimension:
        raise UnitProblem(f"{value} {written} is {_article(unit.dimension)}", right)
    return unit.factor / wanted.factor


def rounded(figure: Fraction, digits: int) -> Decimal:
    """Give an exact figure at a fixed number of digits, rounded half to even."""
    return Decimal(round(figure * 10**digits)).scaleb(-digits)


@lru_cache(maxsize=10_000)
def canonical(quantity: QuantityWord, value: str, unit: str) -> Decimal:
    """Give a figure in the quantity's own unit and digits, rounded half to even.

    Raises UnitProblem for an unknown unit, one of the wrong dimension, or a figure too large.
    """
    figure = Fraction(value)
    if unit != quantity.unit:
        figure *= _factor(quantity, value, unit)
    if abs(figure) >= 10**12:
        raise UnitProblem(f"{value} {unit} is too large to be a figure", "Check it and its unit")
    return rounded(figure, quantity.digits)


def length_mm(value: str, unit: str) -> Fraction | None:
    """Give a length in mm, exactly; None where the unit is not one of length."""
    found = unit_named(unit)
    if found is None or found.dimension != "length":
        return None
    return Fraction(value) * found.factor * 1000
