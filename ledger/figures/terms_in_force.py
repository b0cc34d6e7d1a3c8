"""What a shop's terms were on each day: wages, costs, hours, rounding, tiers.

A day is a local one, as a whole number of days since 1970-01-01. In force on it is what was set
last (by `from_on`, then `seq`) of what is not later; what a `terms_set` leaves out stays as it
was. Nothing set later moves an earlier day.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from functools import cached_property
from typing import Any

import numpy as np
import pyarrow as pa

from ledger.book import Book
from ledger.events import Event
from ledger.events.shop import Tier
from ledger.figures.fault_arrays import Flags, Integers, codes_in
from ledger.kept import terms_known

NOT_TOLD = -1
"""Stands for what no terms tell."""
DAYS_A_YEAR = Fraction(1461, 4)
WEEKS_A_YEAR = DAYS_A_YEAR / 7
_EPOCH = date(1970, 1, 1).toordinal()


def day_number(day: date) -> int:
    """Give a day as days since 1970-01-01."""
    return day.toordinal() - _EPOCH


def day_of(number: int) -> date:
    """Give the day of a number of days since 1970-01-01."""
    return date.fromordinal(number + _EPOCH)


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """A whole figure that changes from day to day: in force from `since[i]` on is `values[i]`."""

    since: Integers
    values: Integers

    def on(self, days: Integers, missing: int = NOT_TOLD) -> Integers:
        """Give what is in force on each day; `missing` before the first."""
        if not len(self.since):
            return np.full(len(days), missing, dtype=np.int64)
        place = np.searchsorted(self.since, days, side="right") - 1
        return np.where(place >= 0, self.values[np.maximum(place, 0)], missing)


def _steps(told: Mapping[int, int]) -> Steps:
    days = sorted(told)
    return Steps(
        np.array(days, dtype=np.int64), np.array([told[day] for day in days], dtype=np.int64)
    )


@dataclass(frozen=True, slots=True)
class TierStep:
    """A tier as told from a day on, until it is told anew."""

    since: int
    tier: Tier


@dataclass(frozen=True)
class TermsInForce:
    """A shop's terms by day; `told` are the payloads of live `terms_set`, in force last last."""

    told: tuple[Any, ...]

    # -- one figure ---------------------------------------------------------------------------

    def _told(self, give: Callable[[Any], Any]) -> dict[int, Any]:
        """Give a field by the day from which it holds, where it is told."""
        return {
            day_number(date.fromisoformat(str(terms.from_on))): give(terms)
            for terms in self.told
            if give(terms) is not None
        }

    def last_told(self, give: Callable[[Any], Any], day: int) -> Any:
        """Give a field in force on a day; None where it is not told."""
        told = self._told(give)
        return told[max(known)] if (known := [since for since in told if since <= day]) else None

    def posted_rate_minor(self, day: int) -> int | None:
        """Give what is charged an hour."""
        found: int | None = self.last_told(lambda terms: terms.labour_rate_minor, day)
        return found

    def fixed_cost_minor(self, day: int) -> int | None:
        """Give the fixed cost of a month."""
        found: int | None = self.last_told(lambda terms: terms.fixed_cost_minor, day)
        return found

    def consumables_minor(self, day: int) -> int | None:
        """Give the consumables of a bench hour."""
        found: int | None = self.last_told(lambda terms: terms.consumables_minor, day)
        return found

    def sellable_hours(self, day: int) -> Fraction | None:
        """Give the bench hours of a week that can be sold; None too where they are none."""
        told = self.last_told(lambda terms: terms.sellable_hours, day)
        return None if told is None or not Fraction(told) > 0 else Fraction(told)

    def paid_hours(self, day: int) -> Fraction | None:
        """Give the hours of a week that wages are paid for."""
        told = self.last_told(lambda terms: terms.paid_hours, day)
        return None if told is None else Fraction(told)

    def region(self, day: int) -> str | None:
        """Give where the shop is, as the owner of several groups them; None where not told."""
        found: str | None = self.last_told(lambda terms: terms.region, day)
        return found

    # -- figures of many days ------------------------------------------------------------------

    @cached_property
    def starts(self) -> tuple[int, ...]:
        """The days on which any terms begin to hold."""
        return tuple(sorted(self._told(lambda terms: terms.from_on)))

    def is_half_even(self, days: Integers) -> Flags:
        """Say of each day whether a half goes to the even neighbour, as it does untold."""
        told = self._told(lambda terms: terms.rounding)
        steps = _steps({day: int(word == "half even") for day, word in told.items()})
        return steps.on(days, 1).astype(np.bool_)

    def consumables_on(self, days: Integers) -> Integers:
        """Give the consumables of a bench hour by day; 0 where none are told."""
        return _steps(self._told(lambda terms: terms.consumables_minor)).on(days, 0)

    @cached_property
    def wages(self) -> Mapping[str, Steps]:
        """Minor units an hour of each mechanic."""
        told: dict[str, dict[int, int]] = {}
        for terms in self.told:
            since = day_number(date.fromisoformat(str(terms.from_on)))
            for wage in terms.wages:
                told.setdefault(wage.mechanic, {})[since] = wage.minor_per_hour
        return {mechanic: _steps(by_day) for mechanic, by_day in told.items()}

    def wages_on(self, mechanics: pa.Array | pa.ChunkedArray, days: Integers) -> Integers:
        """Give the wage an hour of N mechanics on N days; NOT_TOLD where none is."""
        code = codes_in(mechanics, list(self.wages))
        found = np.full(len(days), NOT_TOLD, dtype=np.int64)
        for place, steps in enumerate(self.wages.values()):
            rows = np.flatnonzero(code == place)
            found[rows] = steps.on(days[rows])
        return found

    def mean_wage_on(self, days: Integers) -> tuple[Integers, Integers]:
        """Give the plain mean wage told, by day, as a sum over a count; the count 0 untold."""
        by_mechanic = [steps.on(days) for steps in self.wages.values()]
        every = np.array(by_mechanic, dtype=np.int64).reshape(len(by_mechanic), len(days))
        is_told = every != NOT_TOLD
        return np.where(is_told, every, 0).sum(axis=0), is_told.sum(axis=0)

    def fixed_charge_an_hour(self, day: int) -> Fraction:
        """Give the fixed charge of a sellable hour: 0 where cost or hours are not told.

        Fixed cost of a month x 12 / (365.25 / 7 x sellable hours of a week), exactly.
        """
        cost, hours = self.fixed_cost_minor(day), self.sellable_hours(day)
        if cost is None or hours is None:
            return Fraction(0)
        return cost * 12 / (WEEKS_A_YEAR * hours)

    def fixed_charge_on(self, days: Integers) -> tuple[Integers, Integers]:
        """Give the fixed charge of an hour by day as numerators and denominators."""
        charges = {day: self.fixed_charge_an_hour(day) for day in self.starts}
        over = _steps({day: charge.numerator for day, charge in charges.items()})
        under = _steps({day: charge.denominator for day, charge in charges.items()})
        return over.on(days, 0), under.on(days, 1)

    def fixed_cost_of_days(self, first: int, last: int) -> tuple[Fraction, int]:
        """Give the fixed cost of days, both ends included, exactly, and the days it is untold of.

        A day's is 12 months' over 365.25.
        """
        days = np.arange(first, last + 1)
        cost = _steps(self._told(lambda terms: terms.fixed_cost_minor)).on(days)
        is_told = cost != NOT_TOLD
        return int(cost[is_told].sum()) * 12 / DAYS_A_YEAR, int((~is_told).sum())

    # -- tiers --------------------------------------------------------------------------------

    @cached_property
    def tiers(self) -> Mapping[str, tuple[TierStep, ...]]:
        """Each tier as told from day to day, the earliest first."""
        told: dict[str, dict[int, Tier]] = {}
        for terms in self.told:
            since = day_number(date.fromisoformat(str(terms.from_on)))
            for tier in terms.tiers:
                told.setdefault(tier.code, {})[since] = tier
        return {
            code: tuple(TierStep(since, by_day[since]) for since in sorted(by_day))
            for code, by_day in told.items()
        }

    def tier_on(self, code: str | None, day: int) -> Tier | None:
        """Give a tier as it was on a day; None where it was none."""
        held = [step.tier for step in self.tiers.get(code or "", ()) if step.since <= day]
        return held[-1] if held else None


def terms_of(book: Book, known_seq: int | None = None) -> TermsInForce:
    """Give the terms of a book, as known to a seq (None for all of it)."""
    known = book.head.size if known_seq is None else known_seq
    return told_terms(terms_known(book, known))


def told_terms(events: Iterable[Event]) -> TermsInForce:
    """Give the terms that events tell."""
    ordered = sorted(
        (event for event in events if event.kind == "terms_set"),
        key=lambda event: (event.data.from_on, event.seq or 0),
    )
    return TermsInForce(tuple(event.data for event in ordered))
