"""What an address of the page of quotes asks for: a planned job, and a part on a bike."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import ClassVar

from dashboard import filters
from dashboard.fault_address import NO_KEY
from dashboard.labour_address import Address
from dashboard.labour_worked import Plan
from ledger.vocabulary import Vocabulary

LEAST_RISK, USUAL_RISK, MOST_RISK = 5, 20, 50
"""Per cent."""
LONGEST_MINUTES, OLDEST_YEARS, HIGHEST_PRICE = 6_000, 60, Decimal(1_000_000)
OLD = "old"
_POSITION = re.compile(r"[a-z_.]{1,60}")


@dataclass(frozen=True)
class QuoteAsked(Address):
    """What is planned; every part of it that is not the usual stands in the address."""

    page: ClassVar[str] = "quote"
    tier: str = ""
    """Empty for the shop's first, `~` for none."""
    tasks: str = ""
    """Tasks with their minutes where they are planned: `brakes:45,drivetrain`."""
    kind: str = ""
    age: str = ""
    """Years since the bike was first seen, `old` where it came with an unknown history."""
    tag: str = ""
    risk: int = USUAL_RISK
    """Per cent."""
    price: str = ""
    """In whole currency."""
    position: str = ""
    """The part on the bike that is serviced or replaced."""
    sure: bool = False

    @property
    def planned(self) -> dict[str, float | None]:
        """The tasks with their minutes; None for the usual ones."""
        return tasks_of(self.tasks)

    @property
    def years(self) -> int | None:
        """How old the bike is; None where it is not told."""
        return int(self.age) if self.age.isdecimal() else None

    def plan(self, first_tier: str | None, minor_digits: int) -> Plan:
        """Give what is planned, as a forecast takes it."""
        tier = first_tier if not self.tier and not self.tasks else self.tier
        price = Decimal(self.price) * 10**minor_digits if self.price else None
        return Plan(
            tier=None if tier in ("", NO_KEY) else tier,
            tasks=tuple(self.planned.items()),
            bike=self.tag or None,
            bike_kind=self.kind or None,
            is_old=True if self.age == OLD else None,
            years=self.years,
            risk=self.risk / 100,
            price_minor=None if price is None else round(price),
        )


def tasks_of(told: str) -> dict[str, float | None]:
    """Give tasks with their minutes; what cannot be is left out."""
    found: dict[str, float | None] = {}
    for one in told.split(","):
        task, _, minutes = one.partition(":")
        if re.fullmatch(r"[a-z0-9_]{1,60}", task):
            is_told = minutes.isdecimal() and 0 < int(minutes[:6]) <= LONGEST_MINUTES
            found[task] = float(minutes[:6]) if is_told else None
    return found


def tasks_text(tasks: Mapping[str, float | None]) -> str:
    """Give tasks with their minutes as an address has them."""
    return ",".join(task if not told else f"{task}:{told:.0f}" for task, told in tasks.items())


def quote_asked(typed: Mapping[str, str], today: date, words: Vocabulary) -> QuoteAsked:
    """Give what an address asks for; what the book does not know is taken as not asked."""
    day = filters.asked_day(typed.get("as_at"))
    planned = tasks_of(typed.get("tasks", ""))
    tier, kind = typed.get("tier", ""), typed.get("kind", "")
    risk = filters.asked_number(typed.get("risk"), USUAL_RISK, MOST_RISK)
    position = typed.get("position", "")
    return QuoteAsked(
        as_at="" if day is None or day >= today else day.isoformat(),
        tier=tier if tier in words.tiers or tier == NO_KEY else "",
        tasks=tasks_text({task: told for task, told in planned.items() if task in words.tasks}),
        kind=kind if kind in words.bike_kinds else "",
        age=_age(typed.get("age", "")),
        tag=filters.fold_tag(typed.get("tag", ""))[:8],
        risk=max(LEAST_RISK, risk),
        price=_price(typed.get("price", "")),
        position=position if _POSITION.fullmatch(position) else "",
        sure=typed.get("sure") == "1",
    )


def _age(text: str) -> str:
    if text == OLD:
        return OLD
    years = filters.asked_number(text, -1, OLDEST_YEARS)
    return "" if years < 0 else str(years)


def _price(text: str) -> str:
    try:
        price = Decimal(text[:12])
    except InvalidOperation:
        return ""
    is_one = price.is_finite() and 0 < price <= HIGHEST_PRICE
    return f"{price.normalize():f}" if is_one else ""
