from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given, settings

from ledger.events import Event, canonical_bytes, parse_event, plain
from ledger.events.shop import TermsSet
from ledger.money import tax_minor
from ledger.prepare import prepare
from ledger.state import apply, start
from ledger.vocabulary import standard
from tests.entries import BIKE, FACTS, amount, completed, event, speeds, wear
from tests.strategies import SHOP, Life, event_id, lives

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
    assert tax_minor(net, rate, rounding) == tax


def test_tax_is_filled_where_it_was_not_entered() -> None:
    """Each line of a quote or a charge gets its tax; an entered one stands."""
    line = {"line_type": "other", "code": "x", "net_minor": 50, "tax_rate": "0.21"}
    lines = [{"line": "1", **line}, {"line": "2", **line, "tax_minor": 12}]
    for kind, more in (("job_closed", {}), ("quote_given", {"quote": "q", "form": "fixed"})):
        data = {**more, "currency": "EUR", "lines": lines}
        done, _ = completed(kind, data, job="j1")
        assert [each.tax_minor for each in done.lines] == [10, 12]
    half_up = replace(FACTS, roundings=[("2024-01-01", "half up"), ("2025-01-01", "half even")])
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
