from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.errors import Problem
from ledger.events import Event, parse_event
from ledger.events.shop import GaugeRegistered
from ledger.prepare import prepare
from ledger.rules import BookFacts, check_after, check_book, check_event, check_timeline
from ledger.rules.table import all_rules, written
from ledger.state import apply, live, order_key, start, state_after
from tests.strategies import BIKES, GAUGES, SHOP, WORDS, Life, event_id, lives

BIKE, OTHER = BIKES
FACTS = BookFacts(
    vocabulary=WORDS,
    now=datetime(2026, 1, 1, tzinfo=UTC),
    time_zone=ZoneInfo("Europe/Amsterdam"),
    currency="EUR",
    mechanics=frozenset({"mia", "tom"}),
    gauges=GAUGES
    | {
        "old": GaugeRegistered(
            gauge="old", label="old", quantities=("elongation",), calibration_due_on="2024-12-31"
        )
    },
)


@dataclass(frozen=True)
class E:
    """An event in short: its day, kind and data; what is left out is the same for all."""

    on: str
    kind: str
    data: dict[str, Any] = field(default_factory=dict)
    more: dict[str, Any] = field(default_factory=dict)

    def raw(self, seq: int) -> dict[str, Any]:
        at = datetime.fromisoformat(self.on).replace(tzinfo=UTC) + timedelta(hours=12)
        ids = {"id": event_id(seq), "seq": seq, "shop": SHOP, "bike": BIKE, "actor": "mia"}
        version = 2 if self.kind == "distance_read" else 1
        what = {"kind": self.kind, "schema_version": version, "data": self.data}
        return {**ids, **what, "occurred_at": at, **self.more}


def recorded(events: Sequence[E], facts: BookFacts = FACTS, first: int = 1) -> list[Event]:
    """Events as stored: completed one by one, whatever the rules say of them."""
    done: list[Event] = []
    for seq, event in enumerate(events, first):
        draft = parse_event(event.raw(seq))
        before = [known for known in live(done) if order_key(known) < order_key(draft)]
        state = state_after(before, SHOP, draft.bike or "", WORDS)
        done.append(prepare(draft, state, facts)[0])
    return done


def problems(history: Sequence[E], new: Sequence[E], facts: BookFacts = FACTS) -> list[Problem]:
    """What is found when `new` is one commit on top of `history`."""
    events = recorded([*history, *new], facts)
    new_ids = {event.id for event in events[len(history) :]}
    return check_timeline(events, new_ids, facts)


def found(history: Sequence[E], new: Sequence[E], facts: BookFacts = FACTS) -> set[str]:
    return {problem.rule for problem in problems(history, new, facts)}


def amount(value: object, unit: str) -> dict[str, str]:
    return {"value": str(value), "unit": unit}


def job(*names: str) -> dict[str, Any]:
    return {"job": names[0] if names else "j1"}


def km(value: int, **more: Any) -> dict[str, Any]:
    return {"odometer": amount(value, "km"), **more}


def pads(value: str, **more: Any) -> dict[str, Any]:
    data = {"position": "rear_brake.pads", "quantity": "thickness", "with_backing_plate": False}
    return {**data, "value": amount(value, "mm"), **more}


def part(at: str, name: str, **more: Any) -> dict[str, Any]:
    return {"position": at, "part": name, **more}


def line(name: str, **more: Any) -> dict[str, Any]:
    return {"line": name, "line_type": "labour", "code": "chain", "net_minor": 1000, **more}


def charge(*lines: dict[str, Any], currency: str = "EUR") -> dict[str, Any]:
    return {"currency": currency, "lines": list(lines)}


def quote(*lines: dict[str, Any], currency: str = "EUR") -> dict[str, Any]:
    return {"quote": "q1", "form": "fixed", **charge(*lines, currency=currency)}


def answered(answer: str, line_id: str = "1", name: str = "q1") -> dict[str, Any]:
    return {"quote": name, "answers": [{"line": line_id, "answer": answer}], "how": "phone"}


BORN = E("2024-01-01", "bike_registered", {"speeds": 11})
OPEN = E("2024-02-01", "job_opened", {}, job())
CHAIN = E("2024-02-02", "part_fitted", part("chain", "c1"))
READ = E("2024-02-02", "distance_read", km(1000))
QUOTED = E("2024-02-02", "quote_given", quote(line("1")), job())
CLOCK = E("2024-02-02", "labour_started", {"task": "chain"}, job())
UNSAFE = E("2024-02-02", "measured", pads("0.4"), job())
WARNED = E(
    "2024-02-03",
    "advised",
    {"position": "rear_brake.pads", "verdict": "unsafe", "urgency": "now"},
    job(),
)
LOOSE = E("2024-02-02", "part_fitted", part("rear_brake.rotor", "r1"))
SQUEAL = E(
    "2024-02-02", "inspected", {"position": "rear_brake", "verdict": "due", "fault": "squeal"}
)
SWOLLEN = E(
    "2024-02-02", "inspected", {"position": "battery", "verdict": "unsafe", "fault": "swollen"}
)
ROTOR = E(
    "2024-02-02",
    "part_fitted",
    part(
        "rear_brake.rotor", "r1", limits=[{"quantity": "thickness", "limit": amount("1.8", "mm")}]
    ),
)


CHAIN_STRUCK = E("2024-02-05", "event_struck", {"target": event_id(2), "reason": "no"})


def at(event: E, **more: Any) -> E:
    """The event again, with some of its envelope changed."""
    return replace(event, more={**event.more, **more})


def answer_to(advice: int, answer: str) -> E:
    data = {"advice": event_id(advice), "answer": answer, "how": "phone"}
    return E("2024-02-04", "advice_answered", data, job())


def march(kind: str, data: dict[str, Any] | None = None, **more: Any) -> E:
    return E("2024-03-01", kind, data or {}, more)


def rotor(limit: str) -> E:
    data = {"position": "rear_brake.rotor", "quantity": "thickness", "value": amount("2", "mm")}
    return march("measured", {**data, "limit": amount(limit, "mm")})


def torque(value: object, **more: Any) -> E:
    after = {"quantity": "torque", "after": amount(value, "N·m")}
    return march("adjusted", {"position": "stem", **after, **more})


MAKERS = {"maker_low": amount(4, "N·m"), "maker_high": amount(6, "N·m")}
FAULT_CURED = {"puts_right": {"fault": "squeal", "position": "rear_brake"}}
TREATED = {"position": "rear_brake.pads", "treatment": "sanded"}
WEAR = {"position": "chain", "quantity": "elongation"}


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
    "job_missing": Case(
        [BORN, OPEN],
        march("labour_logged", {"task": "chain", "minutes": 5}),
        march("labour_logged", {"task": "chain", "minutes": 5}, **job()),
        "job",
        "labour_logged names no job",
    ),
    "unknown_job": Case(
        [BORN, OPEN],
        march("treated", TREATED, **job("j9")),
        march("treated", TREATED, **job("j1")),
        "job",
        "job j9 is not open on this bike",
    ),
    "job_opened_twice": Case(
        [BORN, OPEN],
        march("job_opened", **job("j1")),
        march("job_opened", **job("j2")),
        "job",
        "j1 is opened already",
    ),
    "another_job_open": Case(
        [BORN, OPEN, E("2024-02-09", "job_opened", {}, job("j2"))],
        march("job_opened", **job("j3")),
        march("job_closed", **job("j2")),
        "job",
        "job j1, j2 of this bike is still open",
    ),
    "job_closed_before": Case(
        [BORN, OPEN, E("2024-02-20", "job_closed", {}, job())],
        march("labour_logged", {"task": "chain", "minutes": 5}, **job()),
        E("2024-02-19", "labour_logged", {"task": "chain", "minutes": 5}, job()),
        "job",
        "job j1 is closed",
    ),
    "not_held": Case(
        [BORN, OPEN],
        march("job_resumed", **job()),
        march("job_held", {"waiting_for": "part"}, **job()),
        "job",
        "j1 is not held",
    ),
    "labour_already_running": Case(
        [BORN, OPEN, CLOCK],
        march("labour_started", {"task": "gears"}, **job()),
        march("labour_started", {"task": "gears"}, actor="tom", **job()),
        "actor",
        "mia's clock runs on job j1 from 2024-02-02 13:00",
    ),
    "labour_not_started": Case(
        [BORN, OPEN, CLOCK],
        march("labour_stopped", {"minutes": 5}, actor="tom", **job()),
        march("labour_stopped", {"minutes": 5}, actor="mia", **job()),
        "job",
        "no clock of tom runs on job j1",
    ),
    "labour_too_long": Case(
        [BORN, OPEN, CLOCK],
        march("labour_stopped", **job()),
        E("2024-02-08", "labour_stopped", {}, job()),
        "data.minutes",
        "ran for 40320 minutes",
    ),
    "labour_still_running": Case(
        [BORN, OPEN, CLOCK, E("2024-02-03", "job_opened", {}, job("j2"))],
        march("job_closed", **job("j1")),
        march("job_closed", **job("j2")),
        "job",
        "mia's clock runs on it",
    ),
    "quote_twice": Case(
        [BORN, OPEN, QUOTED],
        march("quote_given", quote(line("1")), **job()),
        march("quote_given", {**quote(line("1")), "quote": "q2"}, **job()),
        "data.quote",
        "q1 is given already",
    ),
    "line_twice": Case(
        [BORN, OPEN],
        march("job_closed", charge(line("1"), line("1")), **job()),
        march("job_closed", charge(line("1"), line("2")), **job()),
        "data.lines[1].line",
        "line 1 is there already",
    ),
    "unknown_quote": Case(
        [BORN, OPEN, QUOTED],
        march("quote_answered", answered("yes", "2"), **job()),
        march("quote_answered", answered("yes", "1"), **job()),
        "data.answers[0].line",
        "quote q1 has no line 2",
    ),
    "unknown_quote_line": Case(
        [BORN, OPEN, QUOTED, E("2024-02-03", "quote_answered", answered("yes"), job())],
        march("job_closed", charge(line("a", quote_line="7")), **job()),
        march("job_closed", charge(line("a", quote_line="1")), **job()),
        "data.lines[0].quote_line",
        "no line 7 was quoted",
    ),
    "charged_without_yes": Case(
        [BORN, OPEN, QUOTED, E("2024-02-03", "quote_answered", answered("no reply"), job())],
        march("job_closed", charge(line("a", quote_line="1")), **job()),
        march("job_closed", charge(line("a", quote_line="1", is_goodwill=True)), **job()),
        "data.lines[0].quote_line",
        "line 1 was answered no reply",
    ),
    "over_ceiling": Case(
        [BORN, E("2024-02-01", "job_opened", {"ceiling_minor": 1210}, job())],
        march("job_closed", charge(line("1", net_minor=1001, tax_rate="0.21")), **job()),
        march("job_closed", charge(line("1", net_minor=1000, tax_rate="0.21")), **job()),
        "data.lines",
        "1211 is more than the ceiling of 1210",
    ),
    "wrong_currency": Case(
        [BORN, OPEN],
        march("job_closed", charge(line("1"), currency="DKK"), **job()),
        march("job_closed", charge(line("1"), currency="EUR"), **job()),
        "data.currency",
        "DKK is not this book's currency",
    ),
    "unknown_advice": Case(
        [BORN, OPEN, WARNED], answer_to(2, "yes"), answer_to(3, "yes"), "data.advice", "no advice"
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
    "unsafe_not_warned": Case(
        [BORN, OPEN, UNSAFE, WARNED, E("2024-02-03", "job_opened", {}, job("j2"))],
        march("job_closed", **job("j1")),
        march("job_closed", **job("j2")),
        "job",
        "rear_brake.pads was found unsafe",
    ),
    "unsafe_handed_back": Case(
        [BORN, OPEN, UNSAFE, WARNED, answer_to(4, "no")],
        march("released", {"is_test_ridden": True}, **job()),
        march("treated", TREATED, **job()),
        "job",
        "not put right",
    ),
    "not_torqued": Case(
        [BORN, OPEN, LOOSE],
        march("job_closed", **job()),
        march("released", {"is_test_ridden": True}, **job()),
        "data.disturbed",
        "rear_brake.rotor, rear_wheel",
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
}  # fmt: skip
SHOWN_BELOW = {
    "strike_frees_part", "wrong_unit", "canonical_differs", "unknown_unit", "impossible_terms",
    "link_of_one",
}  # fmt: skip
"""Rules that need more than one bike's timeline; the last of them are of the book itself."""


@pytest.mark.parametrize("name", CASES)
def test_a_rule_finds_what_is_wrong_and_lets_the_nearest_right_thing_pass(name: str) -> None:
    """The finding names the rule, the event, the field, what is wrong and what would be right."""
    case = CASES[name]
    severity = {rule: then for rule, _, then in all_rules()}[name]
    (one,) = [p for p in problems(case.history, [case.bad], case.facts) if p.rule == name]
    assert (one.field, one.severity) == (case.field, severity)
    assert case.says in one.wrong
    assert case.bad.kind in one.event
    assert len(one.right) > 8
    assert name not in found(case.history, [case.good], case.facts)


@pytest.mark.parametrize("name", CASES)
def test_what_passes_is_refused_by_nothing_else(name: str) -> None:
    """The accepted twin of every refused event can be recorded."""
    case = CASES[name]
    refused = [
        p for p in problems(case.history, [case.good], case.facts) if p.severity == "refused"
    ]
    assert refused == []


def test_every_rule_is_shown() -> None:
    """No rule is without a test that shows it refusing and accepting."""
    names = [name for name, _, _ in all_rules()]
    assert len(set(names)) == len(names)
    assert set(names) == set(CASES) | SHOWN_BELOW


def test_the_table_in_the_guide_is_the_code() -> None:
    """DEVELOPERS.md lists exactly the rules there are."""
    page = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text("utf-8")
    assert written(page) == page
    assert "| `position_occupied` |" in page


# -- parts and clocks on more than one bike ---------------------------------------------------


def elsewhere(*events: E) -> list[Event]:
    """Events of the other bike, recorded before ours."""
    return recorded([at(event, bike=OTHER) for event in events], first=500)


def test_a_part_fitted_on_another_bike_is_refused() -> None:
    """One chain is not on two bikes at once."""
    other = elsewhere(E("2024-02-01", "part_fitted", part("chain", "c1")))
    facts = replace(FACTS, part_events={"c1": other})
    (one,) = problems([BORN], [march("part_fitted", part("chain", "c1"))], facts)
    assert one.rule == "part_elsewhere"
    assert f"fitted at chain of bike {OTHER} (2024-02-01 13:00)" in one.wrong


def test_a_part_taken_off_another_bike_may_be_fitted() -> None:
    """A chain moves from one bike to the next once it is off the first."""
    other = elsewhere(
        E("2024-02-01", "part_fitted", part("chain", "c1")),
        E("2024-02-09", "part_removed", part("chain", "c1")),
    )
    facts = replace(FACTS, part_events={"c1": other})
    assert found([BORN], [march("part_fitted", part("chain", "c1"))], facts) == set()


def test_a_part_fitted_late_clashes_with_where_it_went_since() -> None:
    """A fitting entered late is held against what another bike did with the part afterwards."""
    other = elsewhere(E("2024-05-01", "part_fitted", part("chain", "c1")))
    facts = replace(FACTS, part_events={"c1": other})
    fitting = march("part_fitted", part("chain", "c1"))
    assert found([BORN], [fitting], facts) == {"part_elsewhere"}


def test_striking_a_removal_is_refused_where_the_part_went_on() -> None:
    """A part would be on two bikes if its removal here had not happened."""
    removal = E("2024-03-01", "part_removed", part("chain", "c1"))
    ours = recorded([BORN, CHAIN, removal])
    other = elsewhere(E("2024-04-01", "part_fitted", part("chain", "c1")))
    facts = replace(FACTS, part_events={"c1": [*ours[1:], *other]})
    strike = E("2024-05-01", "event_struck", {"target": event_id(3), "reason": "no"})
    assert "strike_frees_part" in found([BORN, CHAIN, removal], [strike], facts)
    alone = replace(FACTS, part_events={"c1": ours[1:]})
    assert found([BORN, CHAIN, removal], [strike], alone) == set()


@pytest.mark.parametrize(("on", "is_refused"), [("2024-02-15", True), ("2024-02-25", False)])
def test_a_clock_running_on_another_bike_is_one_clock_too_many(on: str, is_refused: bool) -> None:
    """A mechanic works on one bike at a time."""
    other = elsewhere(
        E("2024-02-10", "labour_started", {"task": "gears"}, job("j8")),
        E("2024-02-20", "labour_stopped", {"minutes": 9}, job("j8")),
    )
    facts = replace(FACTS, labour_events={"mia": other})
    new = E(on, "labour_started", {"task": "chain"}, job())
    assert ("labour_already_running" in found([BORN, OPEN], [new], facts)) is is_refused


def test_a_job_of_another_bike_is_named() -> None:
    """A job id typed at the wrong bike says whose it is."""
    facts = replace(FACTS, job_bikes={"j7": OTHER})
    (one,) = problems([BORN], [march("treated", TREATED, job="j7")], facts)
    assert (one.rule, one.wrong) == ("unknown_job", f"job j7 is of bike {OTHER}")
    assert found([BORN], [march("job_opened", job="j7")], facts) == {"job_opened_twice"}


# -- what a commit does to what is there ---------------------------------------------------------


def test_a_late_removal_that_breaks_a_later_one_is_refused_with_what_it_breaks() -> None:
    """Entered late, a removal takes away what a stored removal needs; the stored one is named."""
    history = [BORN, CHAIN, E("2024-04-01", "part_removed", part("chain", "c1"))]
    (one,) = problems(history, [march("part_removed", part("chain", "c1"))])
    assert one.event == f"recorded part_removed of 2024-04-01 14:00 (bike {BIKE})"
    assert (one.rule, one.field) == ("nothing_fitted", "data.position")


def test_a_strike_that_breaks_later_events_lists_each_of_them() -> None:
    """Striking the fitting of a chain leaves its removal and its successor hanging."""
    history = [
        BORN, CHAIN,
        E("2024-04-01", "part_fitted", part("chain", "c2", replaces="c1")),
        E("2024-05-01", "part_removed", part("chain", "c2")),
    ]  # fmt: skip
    strike = E("2024-06-01", "event_struck", {"target": event_id(2), "reason": "wrong bike"})
    (one,) = problems(history, [strike])
    assert one.event.startswith("recorded part_fitted of 2024-04-01")
    both = [strike, E("2024-06-01", "event_struck", {"target": event_id(3), "reason": "too"})]
    (other,) = problems(history, both)
    assert other.event.startswith("recorded part_removed of 2024-05-01")


def test_a_strike_is_accepted_where_the_same_commit_mends_what_it_breaks() -> None:
    """A fitting entered on the wrong day is struck and recorded again in one commit."""
    history = [BORN, CHAIN, E("2024-04-01", "part_removed", part("chain", "c1"))]
    strike = E("2024-06-01", "event_struck", {"target": event_id(2), "reason": "wrong day"})
    again = E("2024-02-20", "part_fitted", part("chain", "c1"), {"restores": event_id(2)})
    assert found(history, [strike, again]) == set()
    assert found(history, [again, strike]) == set()
    late = replace(again, on="2024-04-02")
    assert found(history, [strike, late]) == {"nothing_fitted"}


def test_striking_the_registration_of_a_bike_with_a_history_is_refused() -> None:
    """Everything that happened to the bike is listed."""
    strike = E("2024-06-01", "event_struck", {"target": event_id(1), "reason": "no"})
    broken = problems([BORN, CHAIN, READ], [strike])
    assert {problem.rule for problem in broken} == {"unknown_bike"}
    assert len(broken) == 2


def test_what_was_wrong_before_is_not_held_against_a_commit() -> None:
    """An old event that breaks a rule of today does not keep new ones out."""
    history = [BORN, E("2024-02-01", "part_removed", {"position": "chain"})]
    assert found(history, [march("treated", TREATED)]) == set()
    assert found(history, [E("2024-01-15", "treated", TREATED)]) == set()


def test_one_commit_may_remove_and_fit() -> None:
    """A part fitted where one is fitted passes if the same commit takes that one off first."""
    new = [march("part_removed", part("chain", "c1")), march("part_fitted", part("chain", "c2"))]
    assert found([BORN, CHAIN], new) == set()
    assert "position_occupied" in found([BORN, CHAIN], list(reversed(new)))


def test_everything_wrong_is_found_at_once() -> None:
    """One event may have several problems, and each event of a commit has its own."""
    bad = march(
        "measured",
        {"position": "chian", "quantity": "elongation", "value": amount("9", "%"), "gauge": "x"},
        job="j9",
    )
    assert found([BORN], [bad, march("job_opened", {"tier": "none"}, **job())]) == {
        "unknown_word", "impossible_figure", "unknown_gauge", "unknown_job", "unknown_tier",
    }  # fmt: skip


def test_a_problem_is_labelled_as_it_was_entered() -> None:
    """Where an event has a label, that is its name."""
    facts = replace(FACTS, labels={event_id(2): "line 7"})
    (one,) = problems([BORN], [march("part_removed", {"position": "chain"})], facts)
    assert str(one).startswith("line 7: data.position: no part is known at chain")


@pytest.mark.parametrize(
    ("word", "right"), [("chian", "Did you mean chain"), ("qqqq", "The terms can add a position")]
)
def test_an_unknown_word_comes_with_the_nearest_known(word: str, right: str) -> None:
    """A slip of the pen is answered with what was probably meant."""
    (one,) = problems([BORN], [march("noted", {"position": word, "text": "odd"})])
    assert one.right.startswith(right)


def test_every_place_a_word_stands_is_looked_at() -> None:
    """Words below the first level are checked too, each under its own field."""
    cured = {"fault": "odd1", "cause": "odd2", "position": "odd3"}
    fitted = part("odd4", "c1", puts_right=cured)
    makers = [{"quantity": "odd5", "limit": amount("1", "mm")}]
    new = [
        march("part_fitted", {**fitted, "limits": makers}),
        march("inspected", {"position": "chain", "verdict": "watch", "covers": ["frame", "odd6"]}),
        march("job_opened", {"riding": "odd7"}, **job()),
        march("released", {"is_test_ridden": True, "rechecked": ["odd8"]}, **job()),
        march("job_closed", charge(line("1", position="odd9")), **job()),
    ]
    fields = [p.field for p in problems([BORN], new) if p.rule == "unknown_word"]
    assert fields == [
        "data.position", "data.puts_right.fault", "data.puts_right.cause",
        "data.puts_right.position", "data.limits[0].quantity", "data.covers[1]", "data.riding",
        "data.rechecked[0]", "data.lines[0].position",
    ]  # fmt: skip


def test_a_shop_without_tiers_is_told_how_to_set_them() -> None:
    """A tier cannot be known before the terms name any."""
    from ledger.vocabulary import standard

    facts = replace(FACTS, vocabulary=standard())
    (one,) = problems([BORN], [CASES["unknown_tier"].good], facts)
    assert "terms_set" in one.right


# -- safety ---------------------------------------------------------------------------------------

CLOSE = march("job_closed", **job())
FINDINGS = {
    "a reading": UNSAFE,
    "a look": E("2024-02-02", "inspected", {"position": "rear_brake.pads", "verdict": "unsafe",
                                            "fault": "worn"}, job()),
}  # fmt: skip


@pytest.mark.parametrize("finding", FINDINGS)
@pytest.mark.parametrize(
    ("answer", "is_refused"), [("yes", False), ("no", False), ("later", False), ("no reply", True)]
)
def test_an_unsafe_finding_needs_a_warning_and_an_answer(
    finding: str, answer: str, is_refused: bool
) -> None:
    """A job closes over an unsafe finding only with the warning and the keeper's own answer."""
    history = [BORN, OPEN, FINDINGS[finding], WARNED, answer_to(4, answer)]
    rules = found(history, [CLOSE])
    assert ("unsafe_not_warned" in rules) is is_refused
    assert "unsafe_handed_back" in rules


def test_a_warning_elsewhere_or_milder_does_not_count() -> None:
    """The warning must be of that position, in that job, and call it unsafe."""
    for change in ({"position": "rear_brake"}, {"verdict": "due"}):
        warned = replace(WARNED, data={**WARNED.data, **change})
        history = [BORN, OPEN, UNSAFE, warned, answer_to(4, "yes")]
        assert "unsafe_not_warned" in found(history, [CLOSE])
    other_job = [BORN, OPEN, E("2024-02-02", "job_opened", {}, job("j2")), UNSAFE]
    history = [*other_job, at(WARNED, job="j2"), answer_to(5, "yes")]
    assert "unsafe_not_warned" in found(history, [CLOSE])


@pytest.mark.parametrize(
    "mended",
    [
        E("2024-02-10", "part_fitted", part("rear_brake.pads", "p2")),
        E("2024-02-10", "part_removed", {"position": "rear_brake.pads"}),
        E("2024-02-10", "measured", pads("2.5")),
    ],
)
def test_an_unsafe_finding_that_was_put_right_needs_no_warning(mended: E) -> None:
    """New pads, none at all, or a better reading: nothing unsafe is handed back."""
    pads_on = E("2024-02-01", "part_fitted", part("rear_brake.pads", "p1", is_found=True))
    if mended.kind == "part_fitted":
        mended = replace(mended, data={**mended.data, "replaces": "p1"})
    rules = found([BORN, OPEN, pads_on, UNSAFE, mended], [CLOSE])
    assert rules & {"unsafe_not_warned", "unsafe_handed_back"} == set()


def test_an_unsafe_look_is_settled_by_the_cure_or_a_better_look() -> None:
    """A fault put right, or looked at again and within limit, stands no longer."""
    look = {"position": "stem", "fault": "loose"}
    unsafe = E("2024-02-02", "inspected", {**look, "verdict": "unsafe"}, job())
    cured = E("2024-02-03", "adjusted", {"position": "stem", "puts_right": {"fault": "loose"}})
    better = E("2024-02-03", "inspected", {"position": "stem", "verdict": "within limit"})
    other = E("2024-02-03", "inspected", {**look, "fault": "creak", "verdict": "within limit"})
    assert "unsafe_not_warned" in found([BORN, OPEN, unsafe, other], [CLOSE])
    for settled in (cured, better):
        assert "unsafe_not_warned" not in found([BORN, OPEN, unsafe, settled], [CLOSE])


def test_the_law_is_printed_whatever_the_answer() -> None:
    """An answer does not make the bike fit to ride, and the word safe is never said."""
    history = [BORN, OPEN, UNSAFE, WARNED, answer_to(4, "yes")]
    (one,) = [p for p in problems(history, [CLOSE]) if p.rule == "unsafe_handed_back"]
    assert "does not make the bike fit to ride where local law forbids it" in one.right
    assert one.severity == "warning"


# -- the book's own events -------------------------------------------------------------------------


def of_book(kind: str, data: dict[str, Any], facts: BookFacts = FACTS) -> list[Problem]:
    (event,) = recorded([E("2024-03-01", kind, data, {"bike": None})], facts)
    return check_book([event], facts)


def terms(**more: Any) -> dict[str, Any]:
    return {"from_on": "2024-01-01", **more}


def quantity(**more: Any) -> dict[str, Any]:
    new = {"code": "girth", "label": "girth", "unit": "mm", "digits": 1}
    return terms(quantities=[{**new, "lowest": "0", "highest": "9", **more}])


ODD_WINDOW = {"fault": "odd", "days": 1, "distance_km": 1}
ODD_PLACE = {"code": "a", "label": "a", "hides": ["odd"]}


@pytest.mark.parametrize(
    ("rule", "data", "field"),
    [
        ("unknown_unit", quantity(unit="furl"), "data.quantities[0].unit"),
        ("impossible_terms", quantity(lowest="9"), "data.quantities[0].lowest"),
        ("impossible_terms", terms(tax_rate="21"), "data.tax_rate"),
        ("impossible_terms", terms(sellable_hours="-1"), "data.sellable_hours"),
        ("wrong_currency", terms(currency="DKK"), "data.currency"),
        ("unknown_word", terms(windows=[ODD_WINDOW]), "data.windows[0].fault"),
        ("unknown_word", terms(positions=[ODD_PLACE]), "data.positions[0].hides[0]"),
    ],
)
def test_terms_that_cannot_be_are_refused(rule: str, data: dict[str, Any], field: str) -> None:
    """Terms with unknown words, units or impossible figures are not recorded."""
    assert [(p.rule, p.field) for p in of_book("terms_set", data)] == [(rule, field)]


def test_terms_that_can_be_are_accepted() -> None:
    """A shop may add a quantity, a tax and a window."""
    data = {**quantity(), "tax_rate": "0.21", "currency": "EUR", "sellable_hours": "60"}
    assert of_book("terms_set", data) == []


@pytest.mark.parametrize(
    ("first", "second", "is_refused"),
    [(BIKE, OTHER, False), (BIKE, BIKE, True), (BIKE, "AAAAAAAA", True)],
)
def test_a_link_joins_two_registered_bikes(first: str, second: str, is_refused: bool) -> None:
    """A bike is not linked with itself, nor with one the book does not have."""
    facts = replace(FACTS, bikes=frozenset(BIKES))
    data = {"first": {"bike": first}, "second": {"bike": second}}
    rules = {problem.rule for problem in of_book("bike_linked", data, facts)}
    assert rules == ({"link_of_one"} if is_refused else set())


def test_a_strike_of_terms_is_looked_up_in_the_facts() -> None:
    """The book's own events are struck like any other."""
    terms = recorded([E("2024-01-01", "terms_set", quantity(), {"bike": None})])[0]
    facts = replace(FACTS, targets={terms.id: terms})
    strike = {"target": terms.id, "reason": "no"}
    assert of_book("event_struck", strike, facts) == []
    again = replace(facts, struck=frozenset({terms.id}))
    assert [p.rule for p in of_book("event_struck", strike, again)] == ["struck_already"]


# -- both ways of running the rules ---------------------------------------------------------------


@pytest.mark.parametrize("name", [n for n in CASES if CASES[n].bad.kind != "event_struck"])
def test_the_short_way_finds_what_the_long_way_finds(name: str) -> None:
    """At the end of a life, a kept state gives the same problems as the whole timeline."""
    case = CASES[name]
    for new in (case.bad, case.good):
        events = recorded([*case.history, new], case.facts)
        stored, draft = live(events[:-1]), events[-1]
        if stored and order_key(draft) < order_key(stored[-1]):
            continue
        struck = {e.data.target for e in events[:-1] if e.kind == "event_struck"}
        targets = {event.id: event for event in events[:-1]}
        facts = replace(case.facts, targets=targets, struck=struck, bikes={BIKE})
        state = state_after(stored, SHOP, BIKE, WORDS)
        assert check_after(state, [draft], facts) == check_timeline(events, {draft.id}, facts)


@settings(max_examples=25, deadline=None)
@given(life=lives(30), size=st.integers(1, 6))
def test_a_life_that_was_accepted_is_accepted_again(life: Life, size: int) -> None:
    """Events one commit at a time or several at once: what is valid stays valid."""
    events = life.of(BIKE)
    facts = replace(FACTS, vocabulary=WORDS, targets={e.id: e for e in life.events})
    for first in range(0, len(events), size):
        new = {event.id for event in events[first : first + size]}
        stored = events[:first]
        refused = [
            problem
            for problem in check_timeline([*stored, *events[first : first + size]], new, facts)
            if problem.severity == "refused"
        ]
        if refused and size > 1:
            continue  # struck before it was there, or mended only by a later event of its own
        assert refused == []


@settings(max_examples=25, deadline=None)
@given(life=lives(30))
def test_no_state_of_an_accepted_life_breaks_a_rule(life: Life) -> None:
    """Walking what is live in the end finds nothing that would be refused."""
    state = start(SHOP, BIKE)
    facts = replace(FACTS, now=life.instants()[-1], bikes=frozenset(BIKES))
    for event in live(life.of(BIKE)):
        refused = [p for p in check_event(state, event, facts) if p.severity == "refused"]
        assert refused == [], event
        state = apply(state, event, WORDS)


def test_recording_at_the_end_of_a_long_life_stays_cheap() -> None:
    """Completing, checking and folding one event costs the same after two thousand."""
    rows = [BORN, OPEN, CHAIN]
    for number in range(600):
        on = (datetime(2024, 2, 3) + timedelta(days=number)).date().isoformat()
        rows.append(E(on, "distance_read", km(1000 + number)))
        rows.append(E(on, "measured", {**WEAR, "value": amount("0.3", "%")}))
        rows.append(E(on, "adjusted", {"position": "stem", "quantity": "torque",
                                       "after": amount("5", "N·m")}))  # fmt: skip
    drafts = [parse_event(row.raw(seq)) for seq, row in enumerate(rows, 1)]

    def run(some: Sequence[Event], state: Any) -> tuple[Any, float]:
        began = time.process_time()
        for draft in some:
            draft, _ = prepare(draft, state, FACTS)
            assert check_after(state, [draft], FACTS) is not None
            state = apply(state, draft, WORDS)
        return state, (time.process_time() - began) / len(some)

    state, _ = run(drafts[:3], start(SHOP, BIKE))
    state, early = run(drafts[3:603], state)
    state, _ = run(drafts[603:1203], state)
    state, late = run(drafts[1203:], state)
    assert late < 3 * early
    assert late < 0.002


def test_a_part_of_a_joined_tag_is_followed_as_of_one_bike() -> None:
    """Fitted under one tag, taken off under the other: it is free to be fitted again."""
    links = {"part_events": {"c1": elsewhere(E("2024-02-01", "part_fitted", part("chain", "c1")))}}
    history = [
        BORN,
        at(BORN, bike=OTHER),
        E("2024-02-01", "part_fitted", part("chain", "c1"), {"bike": OTHER}),
        E("2024-02-10", "part_removed", part("chain", "c1")),
    ]
    new = march("part_fitted", part("chain", "c1"))
    assert found(history, [new], replace(FACTS, **links)) == set()
