from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.errors import Problem
from ledger.events import Event, canonical_bytes, parse_event, plain
from ledger.events.job import Line
from ledger.events.shop import TermsSet
from ledger.prepare import prepare, tax_minor
from ledger.rules import BookFacts
from ledger.state import apply, start
from ledger.vocabulary import standard
from tests.strategies import BIKES, SHOP, Life, event_id, lives

BIKE = BIKES[0]
FACTS = BookFacts(
    vocabulary=standard(),
    now=datetime(2026, 1, 1, tzinfo=UTC),
    time_zone=ZoneInfo("Europe/Amsterdam"),
    currency="EUR",
)


def event(kind: str, data: dict[str, Any], number: int = 1, **more: Any) -> Event:
    raw = {"id": event_id(number), "seq": number, "shop": SHOP, "bike": BIKE, "actor": "mia"}
    at = datetime(2024, 3, 1, 9, number, tzinfo=UTC)
    version = 2 if kind == "distance_read" else 1
    raw |= {"kind": kind, "schema_version": version, "occurred_at": at, "data": data}
    return parse_event({**raw, **more})


def completed(
    kind: str, data: dict[str, Any], *before: Event, facts: BookFacts = FACTS, **more: Any
) -> tuple[Any, list[Problem]]:
    """The payload as recorded after some earlier events, and the problems of its units."""
    state = start(SHOP, BIKE)
    for earlier in before:
        ready, _ = prepare(earlier, state, facts)
        state = apply(state, ready, facts.vocabulary)
    done, problems = prepare(event(kind, data, 1 + len(before), **more), state, facts)
    return done.data, problems


def amount(value: object, unit: str, **more: Any) -> dict[str, Any]:
    return {"value": str(value), "unit": unit, **more}


def wear(**more: Any) -> dict[str, Any]:
    return {"position": "chain", "quantity": "elongation", **more}


def speeds(count: int) -> Event:
    return event("bike_registered", {"speeds": count})


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


# -- limits and verdicts ------------------------------------------


@pytest.mark.parametrize(
    ("sprockets", "limit", "verdict"),
    [(12, "0.500", "due"), (9, "0.750", "watch"), (1, "1.000", "within limit")],
)
def test_a_chain_is_judged_by_the_bikes_sprockets(sprockets: int, limit: str, verdict: str) -> None:
    """The same 0.6 % is due on one bike and not on another."""
    done, _ = completed("measured", wear(value=amount("0.6", "%")), speeds(sprockets))
    assert (done.limit.canonical, done.limit.unit, done.verdict) == (limit, "%", verdict)


def rotor(value: str, **more: Any) -> dict[str, Any]:
    data = {"position": "rear_brake.rotor", "quantity": "thickness", "value": amount(value, "mm")}
    return {**data, **more}


MAKERS = [{"quantity": "thickness", "limit": amount("1.8", "mm")}]
FITTED = event("part_fitted", {"position": "rear_brake.rotor", "limits": MAKERS})


@pytest.mark.parametrize(
    ("before", "entered", "limit", "verdict"),
    [
        ((), {}, "1.550", "within limit"),
        ((FITTED,), {}, "1.800", "unsafe"),
        ((), {"limit": amount("1.7", "mm")}, "1.700", "watch"),
        ((FITTED,), {"limit": amount("1.9", "mm")}, "1.900", "unsafe"),
        ((FITTED,), {"verdict": "watch"}, "1.800", "watch"),
        ((FITTED,), {"verdict": "not checked"}, "1.800", "not checked"),
    ],
)
def test_the_makers_figure_overrides_and_an_entered_verdict_stands(
    before: tuple[Event, ...], entered: dict[str, Any], limit: str, verdict: str
) -> None:
    """The part's own figure comes before the vocabulary's; what the mechanic judged is kept."""
    done, problems = completed("measured", rotor("1.75", **entered), *before)
    assert problems == []
    assert (done.limit.canonical, done.verdict) == (limit, verdict)


def test_a_makers_figure_goes_with_its_part() -> None:
    """After the part is replaced its maker's figure decides nothing."""
    other = event("part_fitted", {"position": "rear_brake.rotor", "replaces": "x"}, 2)
    done, _ = completed("measured", rotor("1.75"), FITTED, other)
    assert done.limit.canonical == "1.550"


@pytest.mark.parametrize(
    ("marks", "verdict"),
    [
        ({"low": amount("0.5", "%")}, "due"),
        ({"high": amount("0.5", "%")}, "within limit"),
        ({"low": amount("0.25", "%"), "high": amount("0.75", "%")}, "watch"),
    ],
)
def test_go_no_go_marks_are_judged(marks: dict[str, Any], verdict: str) -> None:
    """The mark at the limit that goes in says due; that it stays out says within limit."""
    done, _ = completed("measured", wear(**marks), speeds(11))
    assert done.verdict == verdict


def test_no_limit_gives_no_verdict() -> None:
    """Where nothing is known to compare with nothing is said."""
    done, _ = completed(
        "measured", {"position": "fork", "quantity": "sag", "value": amount(20, "%")}
    )
    assert (done.limit, done.verdict) == (None, None)


@pytest.mark.parametrize(("plate", "verdict"), [(False, "watch"), (None, "watch"), (True, None)])
def test_pads_with_their_plate_are_not_judged_as_bare_ones(
    plate: bool | None, verdict: str | None
) -> None:
    """A limit for friction material says nothing of a pad measured plate and all."""
    data = {"position": "rear_brake.pads", "quantity": "thickness", "value": amount("1.2", "mm")}
    done, _ = completed("measured", {**data, "with_backing_plate": plate})
    assert done.verdict == verdict


@pytest.mark.parametrize(("on", "limit"), [("2024-02-29", "1.550"), ("2024-03-01", "1.700")])
def test_the_shops_limit_holds_from_its_day_in_the_books_zone(on: str, limit: str) -> None:
    """23:30 UTC is the next day in Amsterdam, where the shop stands."""
    own = {"position": "rear_brake.rotor", "quantity": "thickness", "direction": "below"}
    terms = {
        "from_on": "2024-03-01",
        "limits": [{**own, "due": amount("1.7", "mm"), "source": "x"}],
    }
    words = standard().extended(TermsSet.model_validate(terms))
    at = datetime.fromisoformat(on).replace(hour=12, tzinfo=UTC)
    if on == "2024-03-01":
        at = datetime(2024, 2, 29, 23, 30, tzinfo=UTC)
    facts = replace(FACTS, vocabulary=words)
    done, _ = completed("measured", rotor("1.75"), facts=facts, occurred_at=at)
    assert done.limit.canonical == limit


# -- money, time and parts ------------------------------------------


@pytest.mark.parametrize(
    ("net", "rate", "rounding", "tax"),
    [
        (1000, "0.21", "half even", 210),
        (50, "0.21", "half even", 10),
        (150, "0.21", "half even", 32),
        (50, "0.21", "half up", 11),
        (-50, "0.21", "half up", -11),
        (-50, "0.21", "half even", -10),
        (9007199254740991, "0.21", "half even", 1891511843495608),
        (1000, "0", "half even", 0),
    ],
)
def test_tax_is_net_times_rate_rounded_as_the_terms_say(
    net: int, rate: str, rounding: str, tax: int
) -> None:
    """Half a minor unit goes to the even one, or away from zero where the terms say half up."""
    line = {"line": "1", "line_type": "other", "code": "x", "net_minor": net, "tax_rate": rate}
    assert tax_minor(Line.model_validate(line), rounding) == tax


def test_tax_is_filled_where_it_was_not_entered() -> None:
    """Each line of a quote or a charge gets its tax; an entered one stands."""
    line = {"line_type": "other", "code": "x", "net_minor": 50, "tax_rate": "0.21"}
    lines = [{"line": "1", **line}, {"line": "2", **line, "tax_minor": 12}]
    for kind, more in (("job_closed", {}), ("quote_given", {"quote": "q", "form": "fixed"})):
        data = {**more, "currency": "EUR", "lines": lines}
        done, _ = completed(kind, data, job="j1")
        assert [each.tax_minor for each in done.lines] == [10, 12]
    half_up = replace(FACTS, rounding="half up")
    done, _ = completed("job_closed", {"currency": "EUR", "lines": lines}, facts=half_up, job="j1")
    assert [each.tax_minor for each in done.lines] == [11, 12]


@pytest.mark.parametrize(
    ("stopped", "minutes"), [("09:26:29", 24), ("09:26:30", 25), ("09:27:00", 25), ("09:02:10", 0)]
)
def test_labour_minutes_run_from_the_same_mechanics_start(stopped: str, minutes: int) -> None:
    """The clock's minutes are filled, rounded to the minute."""
    started = event("labour_started", {"task": "chain"}, 2, job="j1")
    others = event("labour_started", {"task": "chain"}, 1, job="j1", actor="tom")
    at = datetime.fromisoformat(f"2024-03-01T{stopped}+00:00")
    done, _ = completed("labour_stopped", {}, others, started, job="j1", occurred_at=at)
    assert done.minutes == minutes


def test_entered_minutes_stand_and_unknown_ones_stay_open() -> None:
    """What the mechanic wrote is kept; without a start nothing is made up."""
    started = event("labour_started", {"task": "chain"}, 1, job="j1")
    assert completed("labour_stopped", {"minutes": 7}, started, job="j1")[0].minutes == 7
    assert completed("labour_stopped", {}, started, job="j2")[0].minutes is None
    assert completed("labour_stopped", {}, job="j1")[0].minutes is None


def test_a_part_without_an_id_gets_one_that_is_always_the_same() -> None:
    """A part fitted without an id is named after its event, so that a retry is the same."""
    data = {"position": "chain"}
    first, again = completed("part_fitted", data)[0], completed("part_fitted", data)[0]
    assert first.part == again.part == f"part-{event_id(1)}"
    assert completed("part_fitted", {**data, "part": "c1"})[0].part == "c1"


def test_a_removal_names_the_part_that_came_off() -> None:
    """A part taken off without an id is the one that was fitted there."""
    fitted = event("part_fitted", {"position": "chain", "part": "c1"})
    assert completed("part_removed", {"position": "chain"}, fitted)[0].part == "c1"
    assert completed("part_removed", {"position": "chain"})[0].part is None


def test_closing_a_job_lists_what_was_disturbed() -> None:
    """Everything torqued that was disturbed and not torqued since stands on the closing."""
    fitted = event("part_fitted", {"position": "rear_brake.rotor"})
    torqued = event(
        "adjusted",
        {"position": "rear_brake.rotor", "quantity": "torque", "after": amount(6, "Nm")},
        2,
    )
    both = completed("job_closed", {}, fitted, job="j1")[0]
    assert both.disturbed == ("rear_brake.rotor", "rear_wheel")
    assert completed("job_closed", {}, fitted, torqued, job="j1")[0].disturbed == ("rear_wheel",)
    assert completed("job_closed", {}, job="j1")[0].disturbed == ()


@pytest.mark.parametrize(
    ("kind", "data"),
    [
        ("job_opened", {"ceiling_minor": 5000}),
        ("goodwill_given", {"value_minor": 500}),
        ("advised", {"position": "chain", "verdict": "due", "urgency": "soon", "price_minor": 1}),
    ],
)
def test_money_without_a_currency_is_in_the_books(kind: str, data: dict[str, Any]) -> None:
    """A sum gets the book's currency; where there is no money there is none."""
    money = next(name for name in data if name.endswith("_minor"))
    assert completed(kind, data, job="j1")[0].currency == "EUR"
    bare = {name: value for name, value in data.items() if name != money}
    assert completed(kind, bare, job="j1")[0].currency is None


# -- what holds for every event ------------------------------------------


def is_within(entered: Any, stored: Any) -> bool:
    """Say whether everything entered stands in what is stored."""
    if isinstance(entered, dict):
        return all(name in stored and is_within(entered[name], stored[name]) for name in entered)
    if isinstance(entered, list) and entered:
        return all(is_within(one, other) for one, other in zip(entered, stored, strict=True))
    return bool(entered == stored or not entered)


@settings(max_examples=25, deadline=None)
@given(life=lives(25))
def test_completing_changes_nothing_entered_and_happens_once(life: Life) -> None:
    """An event completed again, from the same state, is the same to the byte."""
    facts = replace(FACTS, vocabulary=standard())
    state = start(SHOP, BIKE)
    for stored in life.of(BIKE):
        once, problems = prepare(stored, state, facts)
        assert problems == []
        assert is_within(plain(stored), plain(once))
        again, _ = prepare(once, state, facts)
        assert canonical_bytes(once) == canonical_bytes(again)
        assert parse_event(plain(once)) == once
        state = apply(state, once, facts.vocabulary)
