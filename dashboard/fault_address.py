"""What an address of the page of faults asks for, and the address of anything on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, cast
from urllib.parse import urlencode

from dashboard import filters
from ledger.asking import Asker
from ledger.figures.come_backs import WindowAsked
from ledger.figures.fault_estimates import RECURRENCE_BY, RecurrenceBy
from ledger.figures.fault_shapes import BY, MEASURES, By, Measure
from ledger.figures.fault_words import window_asked

LONGEST_DAYS, LONGEST_KM = 3_650, 100_000
NO_KEY = "~"
"""How an address names the row of what has no key of its own; no code begins so."""
RATES = ("years", "distance", "come-backs")
"""What part models' rates are counted by."""
UNSAID = -1


@dataclass(frozen=True)
class Asked:
    """What of the faults is shown; every part of it stands in the address."""

    by: By = "fault"
    measure: Measure = "count"
    row: str = ""
    """The row of the Pareto whose bikes are shown; empty for none."""
    tag: str = ""
    """The bike whose faults are shown one by one; empty for none."""
    days: int | None = None
    km: int | None = None
    """The window in place of the shop's own; None where each fault keeps its own end."""
    as_at: str = ""
    """The day; empty for now."""
    is_sure: bool = False
    """Whether what stands behind the figures is unfolded."""
    curves: RecurrenceBy = "system"
    rates: str = RATES[0]

    @property
    def window(self) -> WindowAsked | None:
        """The window asked for; None for the shop's own."""
        if not self.days and not self.km:
            return None
        return window_asked(self.days, self.km)

    @property
    def day(self) -> date | None:
        """The day the page is as at; None for now."""
        return filters.asked_day(self.as_at)

    @property
    def key(self) -> str | None:
        """The key of the row asked for."""
        return None if self.row == NO_KEY else self.row

    def params(self, **other: Any) -> dict[str, str]:
        """Give the address's names and values with something else asked for, but for usual ones."""
        asked = {name: getattr(self, name) for name in self.__dataclass_fields__} | other
        told = {name: value for name, value in asked.items() if value != getattr(USUAL, name)}
        return {NAMES.get(name, name): _text(value) for name, value in told.items()}

    def where(self, **other: Any) -> str:
        """Give the address of the page with something else asked for."""
        told = urlencode(self.params(**other))
        return f"faults?{told}" if told else "faults"

    def of_bike(self, tag: str) -> str:
        """Give the address of a bike's own page, as at the same day."""
        return f"bike?tag={tag}" + (f"&as_at={self.as_at}" if self.as_at else "")


USUAL = Asked()
NAMES = {"is_sure": "sure"}
"""What the address calls what is called otherwise here."""


def _text(value: object) -> str:
    return "1" if value is True else str(value)


def row_of(key: str | None) -> str:
    """Give a row's name in the address."""
    return NO_KEY if key is None else key


def asked_of(typed: Mapping[str, str], today: date) -> Asked:
    """Give what an address asks for; what nobody can answer is taken as not asked."""
    day = filters.asked_day(typed.get("as_at"))
    return Asked(
        by=cast(By, _one_of(BY, typed.get("by"))),
        measure=cast(Measure, _one_of(MEASURES, typed.get("measure"))),
        row=typed.get("row", ""),
        tag=filters.fold_tag(typed.get("tag", "")),
        days=_number(typed.get("days"), LONGEST_DAYS),
        km=_number(typed.get("km"), LONGEST_KM),
        as_at="" if day is None or day >= today else day.isoformat(),
        is_sure=typed.get("sure") == "1",
        curves=cast(RecurrenceBy, _one_of(RECURRENCE_BY, typed.get("curves"))),
        rates=_one_of(RATES, typed.get("rates")),
    )


def for_asker(asked: Asked, asker: Asker) -> Asked:
    """Give what is asked without what the asker does not see: tiers, and what come-backs took."""
    if asker.sees("money"):
        return asked
    return replace(
        asked,
        by=USUAL.by if asked.by == "tier" else asked.by,
        measure=USUAL.measure,
        curves=USUAL.curves if asked.curves == "tier" else asked.curves,
    )


def _one_of(known: tuple[str, ...], text: str | None) -> str:
    return text if text in known else known[0]


def _number(text: str | None, most: int) -> int | None:
    found = filters.asked_number(text, UNSAID, most)
    return None if found == UNSAID else found
