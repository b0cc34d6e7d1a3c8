from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from ledger.errors import Problem
from ledger.facts import facts_of
from ledger.rules import BookFacts, check_book
from ledger.settings import BookSettings
from tests.rule_shorthand import (
    BIKE,
    FACTS,
    OTHER,
    E,
    recorded,
)
from tests.strategies import BIKES

SETTINGS = BookSettings("quay", "Quay", "EUR", "Europe/Lisbon", "en")

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
BACKWARDS = {"code": "quick", "label": "quick", "price_minor": -1}
OWED = {"mechanic": "mia", "minor_per_hour": -1}
ODD_PLACE = {"code": "a", "label": "a", "hides": ["odd"]}


@pytest.mark.parametrize(
    ("rule", "data", "field"),
    [
        ("unknown_unit", quantity(unit="furl"), "data.quantities[0].unit"),
        ("unit_moves", quantity(code="pressure", unit="psi"), "data.quantities[0].unit"),
        ("impossible_terms", quantity(lowest="9"), "data.quantities[0].lowest"),
        ("impossible_terms", terms(tax_rate="21"), "data.tax_rate"),
        ("impossible_terms", terms(sellable_hours="-1"), "data.sellable_hours"),
        ("wrong_currency", terms(currency="DKK"), "data.currency"),
        ("amount_below_nought", terms(fixed_cost_minor=-1), "data.fixed_cost_minor"),
        ("amount_below_nought", terms(tiers=[BACKWARDS]), "data.tiers[0].price_minor"),
        ("amount_below_nought", terms(wages=[OWED]), "data.wages[0].minor_per_hour"),
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
    ("unit", "is_refused"), [("mm", False), (" millimetre", False), ("cm", True), ("bar", True)]
)
def test_a_quantity_keeps_its_unit_though_its_terms_are_struck(unit: str, is_refused: bool) -> None:
    """Figures that were recorded are kept in it, and would be of another size in another one."""
    told = recorded([E("2024-01-01", "terms_set", quantity(), {"bike": None})])[0]
    struck = {"target": told.id, "reason": "spelled wrong"}
    strike = recorded([E("2024-01-02", "event_struck", struck, {"bike": None})])[0]
    again = recorded([E("2024-01-03", "terms_set", quantity(unit=unit), {"bike": None})])
    facts = facts_of([told, strike, *again], SETTINGS, FACTS.now)
    rules = {problem.rule for problem in check_book(again, facts)}
    assert rules == ({"unit_moves"} if is_refused else set())


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
