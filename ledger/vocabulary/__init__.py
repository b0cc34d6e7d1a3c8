"""Every word a book knows: positions, quantities, faults and the rest, and the limits.

The standard words stand in TOML files here; a shop adds its own with `terms_set`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from difflib import get_close_matches
from functools import cache, cached_property
from types import MappingProxyType
from typing import Any

from ledger.events.shop import TermsSet
from ledger.vocabulary import extend, load
from ledger.vocabulary.amounts import parse_amount
from ledger.vocabulary.limits import Limit, plain_limit
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

__all__ = [
    "Limit",
    "PositionWord",
    "QuantityWord",
    "ShopWindow",
    "TaskWord",
    "TierWord",
    "UnitProblem",
    "Vocabulary",
    "Window",
    "Word",
    "canonical",
    "parse_amount",
    "standard",
]


@dataclass(frozen=True, eq=False)
class Vocabulary:
    """The words of one book at one time; frozen, and equal only to itself."""

    systems: Mapping[str, str]
    positions: Mapping[str, PositionWord]
    quantities: Mapping[str, QuantityWord]
    faults: Mapping[str, Word]
    causes: Mapping[str, Word]
    treatments: Mapping[str, Word]
    ridings: Mapping[str, Word]
    bike_kinds: Mapping[str, Word]
    tasks: Mapping[str, TaskWord]
    tiers: Mapping[str, TierWord]
    limits: tuple[Limit, ...]
    """The shop's own first, the newest of them foremost."""
    windows: Mapping[str, Window]
    """By fault, `default` for the rest: what holds where the shop has set nothing."""
    shop_windows: tuple[ShopWindow, ...] = ()
    """The shop's own, in order of the day they hold from."""
    former_units: Mapping[str, str] = field(default_factory=dict)
    """The canonical unit of each quantity of terms that were struck: its figures stay in it."""

    def extended(self, terms: TermsSet) -> Vocabulary:
        """Give the vocabulary with what a shop's terms add to it.

        A limit that cannot be read (a wrong unit, an unknown quantity) is left out: the rules
        refuse such terms.
        """
        grown: dict[str, Any] = {
            name: MappingProxyType({**getattr(self, name), **added})
            for name, added in extend.words(self.positions, self.systems, terms).items()
            if added
        }
        if terms.windows:
            grown["shop_windows"] = extend.windows(self.shop_windows, terms)
        wider = replace(self, **grown) if grown else self
        if not terms.limits:
            return wider
        return replace(wider, limits=extend.limits(wider.quantities, wider.limits, terms))

    def nearest(self, list_name: str, word: str) -> tuple[str, ...]:
        """Give up to three known codes of a list that look like a word, the best first."""
        known: Mapping[str, Any] = getattr(self, list_name)
        spelled = {entry.label.lower(): code for code, entry in known.items()}
        spelled |= {code: code for code in known}
        typed = word.strip().lower()
        close = get_close_matches(typed.replace(" ", "_"), spelled, n=6, cutoff=0.5)
        close += get_close_matches(typed, spelled, n=3, cutoff=0.6)
        return tuple(dict.fromkeys(spelled[name] for name in close))[:3]

    def limit_for(
        self, position: str, quantity: str, speeds: int | None, on: str | None = None
    ) -> Limit | None:
        """Give the limit for a reading, the shop's own before the vocabulary's.

        `speeds` is the sprocket count at the rear; `on` the day (`2026-03-01`) the reading was
        taken, so that a shop's limit does not reach back before it was set; None for today's.
        """
        key = (position, quantity, speeds, on if self._has_shop_limits else None)
        if key not in self._limits_found:
            fitting = (limit for limit in self.limits if limit.applies(*key))
            self._limits_found[key] = next(fitting, None)
        return self._limits_found[key]

    def makers_limit(
        self, position: str, quantity: str, speeds: int | None, figure: Decimal
    ) -> Limit | None:
        """Give a maker's figure as a limit; None where nobody knows which side of it is worn."""
        limit = self.limit_for(position, quantity, speeds)
        if limit is not None:
            return limit.at(figure)
        sides = {known.direction for known in self.limits if known.quantity == quantity}
        if len(sides) != 1:
            return None
        return plain_limit(position, quantity, figure, is_upper=sides == {"above"})

    def torque_voided_by(self, position: str) -> frozenset[str]:
        """Give the positions whose torque work at a position voids besides its own."""
        return self._hidden_by.get(position, frozenset())

    def torqued_under(self, position: str) -> tuple[str, ...]:
        """Give the torqued positions whose code begins with a position and a dot."""
        return self._torqued_under.get(position, ())

    def window_for(self, fault: str, on: str | None = None) -> Window:
        """Give the window in which a fault found again counts as come back.

        `on` is the day (`2026-03-01`) it was put right, so that a shop's window does not reach
        back before it was set; None for today's.
        """
        holds = [window for since, window in self.windows_of(fault) if on is None or since <= on]
        return holds[-1]

    def windows_of(self, fault: str) -> tuple[tuple[str, Window], ...]:
        """Give every window a fault has had: the day it holds from ("" for ever), and the window.

        In order of those days; the last of one day holds.
        """
        first = self.windows.get(fault, self.windows["default"])
        shop = [(one.from_on, one.window) for one in self.shop_windows if one.fault == fault]
        return (("", first), *shop)

    @cached_property
    def _has_shop_limits(self) -> bool:
        return any(limit.from_on is not None for limit in self.limits)

    @cached_property
    def _limits_found(self) -> dict[tuple[str, str, int | None, str | None], Limit | None]:
        return {}

    @cached_property
    def _hidden_by(self) -> dict[str, frozenset[str]]:
        hidden: dict[str, set[str]] = {}
        for word in self.positions.values():
            for inner in word.hides:
                hidden.setdefault(inner, set()).add(word.code)
        return {inner: frozenset(outer) for inner, outer in hidden.items()}

    @cached_property
    def _torqued_under(self) -> dict[str, tuple[str, ...]]:
        torqued = [word.code for word in self.positions.values() if word.is_torqued]
        return {
            position: tuple(code for code in torqued if code.startswith(f"{position}."))
            for position in self.positions
        }


@cache
def standard() -> Vocabulary:
    """Give the vocabulary every book starts with."""
    places, faults = load.read("positions.toml"), load.read("faults.toml")
    words, figures = load.read("words.toml"), load.read("limits.toml")
    quantities = load.quantities(load.read("quantities.toml")["quantities"])
    return Vocabulary(
        systems=MappingProxyType(places["systems"]),
        positions=MappingProxyType(load.positions(places["positions"])),
        quantities=MappingProxyType(quantities),
        faults=MappingProxyType(load.words(faults["faults"])),
        causes=MappingProxyType(load.words(faults["causes"])),
        treatments=MappingProxyType(load.words(words["treatments"])),
        ridings=MappingProxyType(load.words(words["ridings"])),
        bike_kinds=MappingProxyType(load.words(words["bike_kinds"])),
        tasks=MappingProxyType(load.tasks(words["tasks"])),
        tiers=MappingProxyType({}),
        limits=tuple(load.limit(row, quantities) for row in figures["limits"]),
        windows=MappingProxyType(load.windows(figures["windows"])),
    )
