"""Every figure of an event beside its canonical one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from ledger.errors import Problem
from ledger.events import Event, kinds
from ledger.events.bench import Measured
from ledger.events.types import Amount
from ledger.rules import BookFacts, Finding
from ledger.rules.rule import problem
from ledger.vocabulary import QuantityWord, UnitProblem, canonical
from ledger.vocabulary.units import length_mm, rounded, unit_named

PITCH_MM = Fraction("12.7")
"""The pitch of a bicycle chain, half an inch (ISO 9633)."""

Convert = Callable[[QuantityWord, Amount], Decimal]
Figures = tuple[dict[str, Any], list[Problem]]
"""Changed fields of the payload, and what is wrong."""


def elongation(data: Measured) -> Convert:
    """Give how a chain's elongation is read: in %, or as a length over a number of pitches.

    From a length it is 100 × (measured − zero) ÷ (pitches × 12.7 mm), where zero is the length
    of the chain when new if that is given, else the nominal length.
    """

    def convert(quantity: QuantityWord, amount: Amount) -> Decimal:
        measured = length_mm(amount.value, amount.unit)
        if measured is None:
            return canonical(quantity, amount.value, amount.unit)
        if data.over_pitches is None:
            wrong = f"{amount.value} {amount.unit} is a length"
            raise UnitProblem(wrong, "Chain wear is entered in %, or with over_pitches as a length")
        nominal, new = data.over_pitches * PITCH_MM, data.length_when_new
        zero = nominal if new is None else length_mm(new.value, new.unit)
        if zero is None:
            raise UnitProblem("length_when_new is not a length", "Enter it in mm, cm or in")
        return rounded(100 * (measured - zero) / nominal, quantity.digits)

    return convert


def plainly(quantity: QuantityWord, amount: Amount) -> Decimal:
    """Give the canonical figure of an amount as it stands."""
    return canonical(quantity, amount.value, amount.unit)


class Filling:
    """Fills canonical figures into one event, and gathers what is wrong on the way."""

    def __init__(self, event: Event, facts: BookFacts) -> None:
        self._event, self._facts = event, facts
        self.problems: list[Problem] = []

    def _wrong(self, field: str, wrong: str, right: str, rule: str) -> None:
        finding = Finding(field, wrong, right)
        self.problems.append(problem(self._event, self._facts, finding, rule))

    def amount(
        self, field: str, code: str | None, entered: Amount | None, convert: Convert = plainly
    ) -> Amount | None:
        """Give the amount with its canonical figure; as it is where it cannot be read."""
        quantity = self._facts.vocabulary.quantities.get(code or "")
        if entered is None or quantity is None:
            return entered
        try:
            figure = convert(quantity, entered)
        except UnitProblem as found:
            where = field if convert is not plainly else f"{field}.unit"
            self._wrong(where, found.wrong, found.right, "wrong_unit")
            return entered
        if entered.canonical is not None and Decimal(entered.canonical) != figure:
            wrong = f"{entered.value} {entered.unit} is {figure} {quantity.unit}"
            right = "Leave canonical out: it is worked out here"
            self._wrong(f"{field}.canonical", wrong, right, "canonical_differs")
        return entered.model_copy(update={"canonical": f"{figure:f}"})

    def fields(self, names: Sequence[str], code: str | None, convert: Convert = plainly) -> Any:
        """Give the payload's amounts of these names, filled; those not entered are left out."""
        entered = {name: getattr(self._event.data, name) for name in names}
        return {
            name: self.amount(f"data.{name}", code, amount, convert)
            for name, amount in entered.items()
            if amount is not None
        }


def _measured(event: kinds.Measured, filling: Filling) -> dict[str, Any]:
    data, code = event.data, event.data.quantity
    convert = elongation(data) if code == "elongation" else plainly
    changes = filling.fields(("value", "low", "high"), code, convert)
    zero = "roller_span" if code == "elongation" else code
    changes |= filling.fields(("length_when_new",), zero)
    return {**changes, **filling.fields(("limit",), code)}


def _adjusted(event: kinds.Adjusted, filling: Filling) -> dict[str, Any]:
    names = ("before", "after", "maker_low", "maker_high")
    changes: dict[str, Any] = filling.fields(names, event.data.quantity)
    return changes


def _distance_read(event: kinds.DistanceRead, filling: Filling) -> dict[str, Any]:
    changes: dict[str, Any] = filling.fields(("odometer",), "distance")
    return changes


def _part_fitted(event: kinds.PartFitted, filling: Filling) -> dict[str, Any]:
    if not event.data.limits:
        return {}
    limits = [
        maker.model_copy(
            update={
                "limit": filling.amount(f"data.limits[{index}].limit", maker.quantity, maker.limit)
            }
        )
        for index, maker in enumerate(event.data.limits)
    ]
    return {"limits": tuple(limits)}


def _terms_set(event: kinds.TermsSet, filling: Filling) -> dict[str, Any]:
    if not event.data.limits:
        return {}
    limits = []
    for index, limit in enumerate(event.data.limits):
        at, code = f"data.limits[{index}]", limit.quantity
        changes = {
            "watch": filling.amount(f"{at}.watch", code, limit.watch),
            "due": filling.amount(f"{at}.due", code, limit.due),
        }
        limits.append(limit.model_copy(update=changes))
    return {"limits": tuple(limits)}


def _gauge_registered(event: kinds.GaugeRegistered, filling: Filling) -> dict[str, Any]:
    """A gauge's own figures are in the first of its quantities that has their dimension."""
    changes: dict[str, Any] = {}
    known = filling._facts.vocabulary.quantities
    for name in ("resolution", "error"):
        amount = getattr(event.data, name)
        if amount is None:
            continue
        unit = unit_named(amount.unit)
        units = {
            code: unit_named(known[code].unit) for code in event.data.quantities if code in known
        }
        fitting = [code for code, of in units.items() if of and unit and of[0] == unit[0]]
        code = next(iter([*fitting, *units]), None)
        changes[name] = filling.amount(f"data.{name}", code, amount)
    return changes


_FILL: dict[str, Callable[[Any, Filling], dict[str, Any]]] = {
    "measured": _measured,
    "adjusted": _adjusted,
    "distance_read": _distance_read,
    "part_fitted": _part_fitted,
    "terms_set": _terms_set,
    "gauge_registered": _gauge_registered,
}


def filled(event: Event, facts: BookFacts) -> Figures:
    """Give the payload's amounts with canonical figures, and every problem of their units."""
    fill = _FILL.get(event.kind)
    if fill is None:
        return {}, []
    filling = Filling(event, facts)
    return fill(event, filling), filling.problems
