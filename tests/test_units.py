from __future__ import annotations

import subprocess
import sys
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pint import UnitRegistry

from ledger.vocabulary import UnitProblem, canonical, parse_amount, standard
from ledger.vocabulary.units import Unit, length_mm, rounded, unit_named
from ledger.vocabulary.words import QuantityWord

QUANTITIES = standard().quantities
INCH_M = Fraction(254, 10_000)
POUND_FORCE_N = Fraction(45359237, 100_000_000) * Fraction(980665, 100_000)


def wide(unit: str, digits: int) -> QuantityWord:
    """A quantity with more digits than any of ours, to compare with printed figures."""
    span = (Decimal(0), Decimal(10) ** 9)
    return QuantityWord("wide", "wide", unit, digits, span[0], span[1], span)


# From 1 in = 0.0254 m, 1 lb = 0.45359237 kg, g = 9.80665 m/s2, recomputed with Fraction; the
# factors are those of NIST SP 811 B.8 (from memory), which prints seven digits of them.
PRINTED = [
    ("1", "psi", "kPa", 12, "6.894757293168"),
    ("1", "bar", "psi", 9, "14.503773773"),
    ("100", "psi", "bar", 9, "6.894757293"),
    ("85", "psi", "bar", 9, "5.860543699"),
    ("5", "bar", "psi", 8, "72.51886887"),
    ("400", "kPa", "psi", 4, "58.0151"),
    ("300", "kPa", "psi", 4, "43.5113"),
    ("200", "kPa", "psi", 4, "29.0075"),
    ("110", "psi", "bar", 6, "7.584233"),
    ("1", "lbf.in", "N·m", 11, "0.11298482903"),
    ("1", "lbf.ft", "N·m", 11, "1.35581794833"),
    ("5", "N·m", "lbf.in", 8, "44.25372896"),
    ("8", "N·m", "lbf.in", 8, "70.80596633"),
    ("40", "N·m", "lbf.in", 7, "354.0298317"),
    ("40", "N·m", "lbf.ft", 8, "29.50248597"),
    ("40", "N·m", "kgf.cm", 6, "407.886485"),
    ("100", "kgf", "N", 3, "980.665"),
    ("120", "kgf", "N", 3, "1176.798"),
    ("1", "mi", "km", 6, "1.609344"),
    ("15", "ft", "m", 3, "4.572"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "unit", "wanted", "digits", "expected"), PRINTED)
def test_conversions_are_exact(
    value: str, unit: str, wanted: str, digits: int, expected: str
) -> None:
    """Published conversions come out to every digit printed."""
    assert canonical(wide(wanted, digits), value, unit) == Decimal(expected)


def test_factors_follow_from_the_definitions() -> None:
    """The pound-force a square inch, the inch and the mile are exact fractions."""
    assert unit_named("psi") == Unit("pressure", POUND_FORCE_N / INCH_M**2)
    assert unit_named("lbf·in") == Unit("torque", POUND_FORCE_N * INCH_M)
    assert unit_named("lbf·ft") == Unit("torque", POUND_FORCE_N * INCH_M * 12)
    assert unit_named("mile") == Unit("length", Fraction(1609344, 1000))


@pytest.mark.parametrize(
    ("unit", "known_as"),
    [
        ("mm", "millimeter"), ("cm", "centimeter"), ("in", "inch"), ("ft", "foot"), ("mi", "mile"),
        ("psi", "psi"), ("bar", "bar"), ("kPa", "kilopascal"), ("Nm", "newton*meter"),
        ("lbf.in", "lbf*inch"), ("lbf.ft", "lbf*foot"), ("kgf.cm", "kgf*centimeter"),
        ("kgf", "kgf"), ("lbf", "lbf"), ("Hz", "hertz"), ("V", "volt"), ("Wh", "watt*hour"),
        ("kWh", "kilowatt*hour"), ("min", "minute"), ("h", "hour"), ("kg", "kg"), ("lb", "pound"),
    ],
)  # fmt: skip
def test_our_factors_agree_with_pint(unit: str, known_as: str) -> None:
    """An independent library of units gives the same factor, to 24 digits."""
    registry = UnitRegistry(non_int_type=Decimal)
    base = (Decimal(1) * registry.parse_units(known_as)).to_base_units()
    scale = {"kg": 1, "lb": 1}.get(unit, 1)
    found = unit_named(unit)
    assert found is not None
    assert abs(found.factor * scale / Fraction(base.magnitude) - 1) < Fraction(1, 10**24)


@pytest.mark.parametrize(
    ("quantity", "spellings"),
    [
        ("pressure", "psi PSI Psi lbf/in²"),
        ("pressure", "bar Bar BAR"),
        ("pressure", "kPa kpa KPA"),
        ("torque", "Nm N·m N.m N-m N*m nm NM"),
        ("torque", "lbf.in lbf·in in·lb in-lb in.lb inlb in-lbs lb-in"),
        ("torque", "lbf.ft ft-lb ft·lb ftlb lbf-ft lb.ft"),
        ("torque", "kgf.cm kgf·cm kgfcm"),
        ("gap", 'in inch inches IN " ″'),
        ("distance", "mi mile miles"),
        ("distance", "km KM"),
        ("angle", "° deg degree degrees"),
        ("clicks", "count clicks click"),
        ("elongation", "% percent"),
        ("capacity", "Wh wh WH"),
        ("belt_tension", "Hz hz"),
        ("voltage", "V v"),
    ],
)
def test_spellings_of_one_unit_mean_the_same(quantity: str, spellings: str) -> None:
    """However the bench writes a unit, the figure is the same."""
    figures = {canonical(QUANTITIES[quantity], "12", unit) for unit in spellings.split()}
    assert len(figures) == 1


@pytest.mark.parametrize("unit", ["N m", "lbf in", "foot pounds", "kgf cm", "in lb"])
def test_a_unit_may_have_a_space_in_it(unit: str) -> None:
    """`N m` is a torque, not a newton and a stray metre."""
    found = unit_named(unit)
    assert found is not None
    assert found.dimension == "torque"


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "wrong", "right"),
    [
        ("pressure", "12", "mm", "12 mm is a length", "Pressure is entered in bar, psi or kPa"),
        ("pressure", "12", "parsec", "12 parsec is a length", "bar, psi or kPa"),
        ("torque", "5", "Wh", "5 Wh is an energy", "Torque is entered in N·m, lbf·in or lbf·ft"),
        ("torque", "5", "J", "5 J is an energy", "Torque"),
        ("capacity", "5", "Nm", "5 Nm is a torque", "Capacity is entered in Wh or kWh"),
        ("tension", "100", "kg", "100 kg is a mass", "Spoke tension is entered in N or kgf"),
        ("elongation", "3", "count", "3 count is a count", "Chain wear is entered in %"),
        ("clicks", "3", "%", "3 % is a share", "count (or clicks)"),
        ("distance", "3", "h", "3 h is a time", "Distance is entered in km or miles"),
        ("thickness", "3", "furl", "'furl' is not a unit", "Thickness is entered in mm, cm or in"),
        ("angle", "3", "rad", "'rad' is not a unit", "degrees (°)"),
        ("pressure", "3", "m/s", "3 m/s is a speed", "bar"),
    ],
)
def test_a_wrong_unit_says_what_it_is_and_what_would_be_right(
    quantity: str, value: str, unit: str, wrong: str, right: str
) -> None:
    """The message names what was entered and the units the bench uses for that quantity."""
    with pytest.raises(UnitProblem) as raised:
        canonical(QUANTITIES[quantity], value, unit)
    assert wrong in raised.value.wrong
    assert right in raised.value.right


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "expected"),
    [
        ("pressure", "1", "atm", "1.013"),
        ("pressure", "1", "kN/m²", "0.010"),
        ("gap", "200", "µm", "0.200"),
        ("gap", "1", "yd", "914.400"),
        ("torque", "3", "dN·m", "0.300"),
        ("capacity", "1", "MJ", "277.78"),
    ],
)  # fmt: skip
def test_rarer_units_are_understood_too(
    quantity: str, value: str, unit: str, expected: str
) -> None:
    """Units nobody at the bench writes are still read right."""
    assert str(canonical(QUANTITIES[quantity], value, unit)) == expected


@pytest.mark.parametrize(
    ("value", "expected"), [("0.0125", "0.012"), ("0.0135", "0.014"), ("-0.0125", "-0.012")]
)
def test_figures_are_rounded_half_to_even(value: str, expected: str) -> None:
    """A figure halfway between two goes to the even one, so that rounding has no lean."""
    assert str(canonical(wide("mm", 3), value, "mm")) == expected


def test_percent_of_the_canonical_unit_keeps_fixed_digits() -> None:
    """The canonical figure always has the quantity's digits."""
    assert str(canonical(QUANTITIES["elongation"], "0.5", "%")) == "0.500"
    assert str(canonical(QUANTITIES["clicks"], "7", "clicks")) == "7"


@given(st.decimals(-1000, 1000, places=6), st.integers(0, 6))
def test_rounding_is_that_of_decimal(figure: Decimal, digits: int) -> None:
    """Exact rounding of fractions agrees with the decimal module's own half-even."""
    assert rounded(Fraction(figure), digits) == figure.quantize(Decimal(1).scaleb(-digits))


@given(st.text(max_size=16))
def test_any_text_is_a_unit_or_is_not_but_never_an_error(text: str) -> None:
    """Nothing typed as a unit gets past as a crash."""
    found = unit_named(text)
    assert found is None or found.factor > 0


@given(st.text(max_size=30))
def test_any_text_is_an_amount_or_a_plain_refusal(text: str) -> None:
    """Nothing typed as an amount gets past as a crash."""
    try:
        amount = parse_amount(text)
    except UnitProblem as problem:
        assert problem.wrong
        assert problem.right
    else:
        assert Decimal(amount.value).is_finite()


@pytest.mark.parametrize(
    ("typed", "value", "unit"),
    [
        ("72 psi", "72", "psi"),
        ("72psi", "72", "psi"),
        ("0,5 mm", "0.5", "mm"),
        ("0,500 mm", "0.5", "mm"),
        (".5 %", "0.5", "%"),
        ("-0,1 %", "-0.1", "%"),
        ("−0.1 %", "-0.1", "%"),
        ("12 1/16 in", "12.0625", "in"),
        ("12-1/16 in", "12.0625", "in"),
        ('12 1/8"', "12.125", '"'),
        ("12½ in", "12.5", "in"),
        ("1/16 in", "0.0625", "in"),
        ("12 450 km", "12450", "km"),
        ("1,234.5 miles", "1234.5", "miles"),
        ("1.234,5 km", "1234.5", "km"),
        ("12450,5 km", "12450.5", "km"),
        ("5 N m", "5", "N m"),
        ("1100 N", "1100", "N"),
        ("40 ° ", "40", "°"),
    ],
)
def test_amounts_are_read_as_people_type_them(typed: str, value: str, unit: str) -> None:
    """Fractions, decimal commas, thousands and a missing space are understood exactly."""
    amount = parse_amount(typed)
    assert (amount.value, amount.unit) == (value, unit)


@pytest.mark.parametrize(
    ("typed", "wrong"),
    [
        ("12,450 km", "can be read in two ways"),
        ("72", "has no unit"),
        ("psi", "is not a figure"),
        ("", "is not a figure"),
        ("1/0 in", "over zero"),
        ("1/3 in", "no exact decimal form"),
        ("1.2.3 mm", "more than one decimal mark"),
        ("12 3/ in", "not a figure"),
        ("12 mm 5", "not a figure"),
    ],
)  # fmt: skip
def test_an_amount_that_is_unclear_is_refused(typed: str, wrong: str) -> None:
    """Where a figure could mean two things nothing is guessed."""
    with pytest.raises(UnitProblem, match=wrong):
        parse_amount(typed)


def test_lengths_are_given_in_mm() -> None:
    """A length in any unit is exact in mm, and what is no length is None."""
    assert length_mm("12.0625", "in") == Fraction("306.3875")
    assert length_mm("12", "psi") is None


def test_pint_is_not_imported_for_common_units() -> None:
    """Reading a pressure in psi does not cost the command line the import of pint."""
    code = (
        "import sys; from ledger.vocabulary import *; "
        "canonical(standard().quantities['pressure'], '72', 'psi'); "
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
