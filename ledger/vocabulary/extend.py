"""What a shop's own terms add to the vocabulary."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import replace
from decimal import Decimal
from typing import Any

from ledger.events.shop import NewCode, NewPosition, NewQuantity, ShopLimit, TermsSet
from ledger.events.types import Amount
from ledger.vocabulary.limits import Limit
from ledger.vocabulary.units import UnitProblem, canonical
from ledger.vocabulary.words import (
    PositionWord,
    QuantityWord,
    ShopWindow,
    TaskWord,
    TierWord,
    Window,
    Word,
)


def _codes(added: Iterable[NewCode]) -> dict[str, Any]:
    return {new.code: Word(new.code, new.label) for new in added}


def _position(
    new: NewPosition, known: Mapping[str, PositionWord], systems: Mapping[str, str]
) -> PositionWord:
    """A new position belongs to the system its name begins with, else to the equipment."""
    stem = new.code.partition(".")[0]
    system = known[stem].system if stem in known else stem if stem in systems else "equipment"
    return PositionWord(new.code, new.label, system, new.is_torqued, new.hides)


def _quantity(new: NewQuantity) -> QuantityWord:
    lowest, highest = Decimal(new.lowest), Decimal(new.highest)
    return QuantityWord(
        new.code, new.label, new.unit, new.digits, lowest, highest, (lowest, highest)
    )


def words(
    known: Mapping[str, PositionWord], systems: Mapping[str, str], terms: TermsSet
) -> dict[str, dict[str, Any]]:
    """Give, for each list of words, what the terms add to it."""
    return {
        "positions": {new.code: _position(new, known, systems) for new in terms.positions},
        "quantities": {new.code: _quantity(new) for new in terms.quantities},
        "faults": _codes(terms.faults),
        "causes": _codes(terms.causes),
        "treatments": _codes(terms.treatments),
        "ridings": _codes(terms.ridings),
        "bike_kinds": _codes(terms.bike_kinds),
        "tasks": {new.code: TaskWord(new.code, new.label, new.minutes) for new in terms.tasks},
        "tiers": {
            new.code: TierWord(new.code, new.label, new.price_minor, new.minutes)
            for new in terms.tiers
        },
    }


def windows(known: tuple[ShopWindow, ...], terms: TermsSet) -> tuple[ShopWindow, ...]:
    """Give the shop's windows with those of its terms, in order of the day they hold from."""
    added = [
        ShopWindow(new.fault, terms.from_on, Window(new.days, new.distance_km))
        for new in terms.windows
    ]
    return tuple(sorted([*known, *added], key=lambda one: one.from_on))


def _figure(quantity: QuantityWord, amount: Amount | None) -> Decimal | None:
    return None if amount is None else canonical(quantity, amount.value, amount.unit)


def _limit(
    new: ShopLimit, from_on: str, quantities: Mapping[str, QuantityWord], known: Iterable[Limit]
) -> Limit:
    """Give a shop's limit; it moves what is due, and leaves what is unsafe where it was."""
    quantity = quantities[new.quantity]
    due = canonical(quantity, new.due.value, new.due.unit)
    standard = (
        limit
        for limit in known
        if limit.from_on is None and limit.applies(new.position, new.quantity, None, None)
    )
    base = next(standard, None)
    unsafe = base.unsafe if base and base.direction == new.direction else None
    shop = Limit(
        position=new.position,
        quantity=new.quantity,
        direction=new.direction,
        watch=_figure(quantity, new.watch),
        due=due,
        unsafe=unsafe,
        speeds=None,
        is_safety=new.is_safety or unsafe is not None,
        source=new.source,
        from_on=from_on,
    )
    return replace(shop, unsafe=due) if new.is_safety and unsafe is None else shop


def limits(
    quantities: Mapping[str, QuantityWord], known: tuple[Limit, ...], terms: TermsSet
) -> tuple[Limit, ...]:
    """Give the limits with the terms' own in front, those that hold from a later day first.

    What cannot be read as a limit is left out: a rule refuses it before it is recorded.
    """
    added = []
    for new in terms.limits:
        with suppress(KeyError, UnitProblem):
            added.append(_limit(new, terms.from_on, quantities, known))
    shops = added + [limit for limit in known if limit.from_on is not None]
    shops.sort(key=lambda limit: limit.from_on or "", reverse=True)
    return (*shops, *(limit for limit in known if limit.from_on is None))
