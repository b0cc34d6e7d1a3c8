from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.events import Event, parse_event
from ledger.prepare import prepare
from ledger.rules import check_after, check_event, check_timeline
from ledger.rules.table import all_rules, written
from ledger.state import apply, live, order_key, start, state_after
from tests import rule_cases_bike, rule_cases_drivetrain, rule_cases_job
from tests.rule_shorthand import (
    BIKE,
    BORN,
    CHAIN,
    FACTS,
    OPEN,
    WEAR,
    E,
    amount,
    found,
    km,
    problems,
    recorded,
)
from tests.strategies import BIKES, SHOP, WORDS, Life, lives

CASES = rule_cases_bike.CASES | rule_cases_job.CASES | rule_cases_drivetrain.CASES
SHOWN_BELOW = {
    "strike_frees_part", "wrong_unit", "canonical_differs", "unknown_unit", "unit_moves",
    "impossible_terms", "link_of_one", "personal_data", "rider_forgotten",
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
    """Completing, checking and folding one event takes as many calls after two thousand."""
    rows = [BORN, OPEN, CHAIN]
    for number in range(600):
        on = (datetime(2024, 2, 3) + timedelta(days=number)).date().isoformat()
        rows.append(E(on, "distance_read", km(1000 + number)))
        rows.append(E(on, "measured", {**WEAR, "value": amount("0.3", "%")}))
        rows.append(E(on, "adjusted", {"position": "stem", "quantity": "torque",
                                       "after": amount("5", "N·m")}))  # fmt: skip
    drafts = [parse_event(row.raw(seq)) for seq, row in enumerate(rows, 1)]

    def run(some: Sequence[Event], state: Any) -> tuple[Any, int]:
        calls = Counter[str]()
        sys.setprofile(lambda frame, happening, argument: calls.update([happening]))
        try:
            for draft in some:
                draft, _ = prepare(draft, state, FACTS)
                assert check_after(state, [draft], FACTS) is not None
                state = apply(state, draft, WORDS)
        finally:
            sys.setprofile(None)
        return state, calls["call"]

    state, _ = run(drafts[:3], start(SHOP, BIKE))
    state, early = run(drafts[3:603], state)
    state, _ = run(drafts[603:1203], state)
    state, late = run(drafts[1203:], state)
    assert 0 < late < 1.1 * early
