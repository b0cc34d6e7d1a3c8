from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.entries import amount, completed, wear

# -- figures ------------------------------------------


@pytest.mark.parametrize(
    ("value", "unit", "pitches", "percent"),
    [
        ("12.03125", "in", 24, "0.260"),
        ("12.0625", "in", 24, "0.521"),
        ("12.125", "in", 24, "1.042"),
        ("12.1", "in", 24, "0.833"),
        ("306.324", "mm", 24, "0.500"),
        ("307.086", "mm", 24, "0.750"),
        ("307.848", "mm", 24, "1.000"),
        ("282", "mm", 22, "0.931"),
        ("304.8", "mm", 24, "0.000"),
        ("30.48", "cm", 24, "0.000"),
        ("304.4952", "mm", 24, "-0.100"),
    ],
)
def test_a_chain_entered_as_a_length_is_a_percentage(
    value: str, unit: str, pitches: int, percent: str
) -> None:
    """Elongation is 100 × (measured − n × 12.7 mm) ÷ (n × 12.7 mm).

    12 1/32, 12 1/16 and 12 1/8 in over 12 in are the trade's marks (madegood.com, chain wear:
    0.2604, 0.5208, 1.0417 %); 2/20 in over is the 0.83 % of a published worked example
    (mrbill.homeip.net, page 3); 282 mm over 22 pitches is a rider's own log, 0.931 %;
    -0.10 % is a new chain (fagan.co.za).
    """
    data, problems = completed("measured", wear(value=amount(value, unit), over_pitches=pitches))
    assert problems == []
    assert data.value.canonical == percent
    assert (data.value.value, data.value.unit) == (value, unit)


def test_a_reading_may_have_its_own_zero() -> None:
    """A caliper between rollers counts from the chain's own length when new.

    132.65 mm at 1,350 km against 132.2 mm new, over 10 pitches: 0.45 mm of 127 mm
    (robobiking.wordpress.com, the published test of three chains in rotation).
    """
    own_zero = {"over_pitches": 10, "length_when_new": amount("132.2", "mm")}
    data, problems = completed("measured", wear(value=amount("132.65", "mm"), **own_zero))
    assert problems == []
    assert Decimal(data.value.canonical) == round(Decimal(45) / Decimal(127), 3)
    assert data.length_when_new.canonical == "132.200"


@settings(deadline=None)
@given(
    over=st.integers(2, 200),
    stretch=st.fractions(Fraction(-1, 100), Fraction(8, 100), max_denominator=1000),
)
def test_stretching_a_nominal_chain_gives_that_stretch_back(over: int, stretch: Fraction) -> None:
    """Whatever the number of pitches, a chain stretched by p reads p percent."""
    length = Fraction("12.7") * over * (1 + stretch)
    value = f"{Decimal(round(length * 10**9)) / 10**9:f}"
    data, _ = completed("measured", wear(value=amount(value, "mm"), over_pitches=over))
    assert abs(Fraction(data.value.canonical) - 100 * stretch) <= Fraction(6, 10_000)


def test_a_chain_length_needs_its_number_of_pitches() -> None:
    """A length says nothing of wear until it is said over how many pitches."""
    _, problems = completed("measured", wear(value=amount("132.65", "mm")))
    assert [(p.rule, p.field) for p in problems] == [("wrong_unit", "data.value")]
    assert "over_pitches" in problems[0].right


@pytest.mark.parametrize(
    ("kind", "data", "field", "canonical"),
    [
        ("distance_read", {"odometer": amount(100, "miles")}, "odometer", "160.934"),
        ("measured", {"position": "fork", "quantity": "pressure", "value": amount(85, "psi")},
         "value", "5.861"),
        ("measured", wear(low=amount("0.5", "%")), "low", "0.500"),
        ("measured", wear(high=amount("0,5".replace(",", "."), "percent")), "high", "0.500"),
        ("adjusted", {"position": "stem", "quantity": "torque", "after": amount(44, "lbf.in")},
         "after", "4.971"),
        ("adjusted", {"position": "stem", "quantity": "torque", "after": amount(5, "Nm"),
                      "maker_high": amount(6, "N·m")}, "maker_high", "6.000"),
    ],
)  # fmt: skip
def test_figures_get_their_canonical_form_beside_what_was_entered(
    kind: str, data: dict[str, Any], field: str, canonical: str
) -> None:
    """What was typed stays as typed; the canonical figure stands beside it."""
    done, problems = completed(kind, data)
    assert problems == []
    assert getattr(done, field).canonical == canonical
    assert getattr(done, field).value == data[field]["value"]


def test_a_wrong_unit_is_a_problem_of_that_field() -> None:
    """The message says what was entered and what the bench enters; nothing is filled."""
    wrong = {"position": "fork", "quantity": "pressure", "value": amount(12, "mm")}
    done, (problem,) = completed("measured", wrong)
    assert (problem.rule, problem.field, problem.severity) == (
        "wrong_unit", "data.value.unit", "refused",
    )  # fmt: skip
    assert problem.wrong == "12 mm is a length"
    assert problem.right == "Pressure is entered in bar, psi or kPa"
    assert done.value.canonical is None


def test_all_wrong_units_are_told_at_once() -> None:
    """Each figure of an event is looked at, whatever is wrong with the others."""
    bad = {"after": amount(5, "bar"), "before": amount(5, "mm"), "maker_low": amount(1, "Nm")}
    _, problems = completed("adjusted", {"position": "stem", "quantity": "torque", **bad})
    assert {p.field for p in problems} == {"data.after.unit", "data.before.unit"}


@pytest.mark.parametrize(
    ("canonical", "is_refused"), [("4.964", False), ("4.9640", False), ("5", True)]
)
def test_an_entered_canonical_figure_must_be_right(canonical: str, is_refused: bool) -> None:
    """A figure that came with its canonical form is worked out again and compared."""
    pressure = amount(72, "psi", canonical=canonical)
    data = {"position": "fork", "quantity": "pressure", "value": pressure}
    done, problems = completed("measured", data)
    assert [p.rule for p in problems] == (["canonical_differs"] if is_refused else [])
    assert done.value.canonical == "4.964"


def test_a_figure_too_large_to_store_is_refused() -> None:
    """Twelve digits of miles do not fit as kilometres."""
    _, (problem,) = completed("distance_read", {"odometer": amount("999999999999", "miles")})
    assert "too large" in problem.wrong


def test_an_unknown_quantity_is_left_for_the_rules() -> None:
    """Nothing can be worked out for a quantity nobody knows, and nothing fails."""
    odd = {"position": "fork", "quantity": "oddness", "value": amount(1, "mm")}
    done, problems = completed("measured", odd)
    assert (done.value.canonical, done.limit, problems) == (None, None, [])


def test_a_gauge_figures_are_in_the_quantity_of_their_dimension() -> None:
    """A tool for torque and for angle has its error in whichever it was given in."""
    gauge = {"gauge": "g1", "label": "wrench", "quantities": ["angle", "torque"]}
    done, problems = completed("gauge_registered", {**gauge, "error": amount("2", "lbf.in")})
    assert (done.error.canonical, problems) == ("0.226", [])
    _, (problem,) = completed("gauge_registered", {**gauge, "error": amount("2", "bar")})
    assert problem.rule == "wrong_unit"


def test_limits_of_parts_and_of_terms_get_canonical_figures() -> None:
    """A maker's figure and the shop's own are read in any unit."""
    limit = {"quantity": "thickness", "limit": amount("0.06", "in")}
    done, _ = completed("part_fitted", {"position": "rear_brake.rotor", "limits": [limit]})
    assert done.limits[0].limit.canonical == "1.524"
    own = {"position": "fork", "quantity": "play", "direction": "above", "source": "ours"}
    limits = [{**own, "due": amount("1", "mm"), "watch": amount("1", "bar")}]
    done, (problem,) = completed("terms_set", {"from_on": "2024-01-01", "limits": limits})
    assert done.limits[0].due.canonical == "1.000"
    assert problem.field == "data.limits[0].watch.unit"
