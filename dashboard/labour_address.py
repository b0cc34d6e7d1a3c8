"""What addresses of the pages of time, earnings and quotes ask for, and the address of each."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date, timedelta
from typing import Any, ClassVar, cast
from urllib.parse import urlencode

from dashboard import filters
from dashboard.fault_address import NO_KEY
from ledger.figures.labour_shapes import LABOUR_BY, LabourBy

MOST_CHANGE = 50
"""Per cent a price or minutes can be changed by on the page."""
LONGEST_CODE = 60
_CODE = re.compile(r"[a-z0-9_~]+")


@dataclass(frozen=True)
class Address:
    """What a page shows; every part of it that is not the usual stands in the address."""

    page: ClassVar[str] = ""
    as_at: str = ""
    """The day; empty for now."""

    def params(self, **other: Any) -> dict[str, str]:
        """Give the address's names and values with something else asked for."""
        asked = {each.name: other.get(each.name, getattr(self, each.name)) for each in fields(self)}
        usual = {each.name: each.default for each in fields(self)}
        told = {name: value for name, value in asked.items() if value != usual[name]}
        return {name: "1" if value is True else str(value) for name, value in told.items()}

    def where(self, **other: Any) -> str:
        """Give the address of the page with something else asked for."""
        told = urlencode(self.params(**other))
        return f"{self.page}?{told}" if told else self.page

    def of_bike(self, tag: str) -> str:
        """Give the address of a bike's own page, as at the same day."""
        return f"bike?tag={tag}" + (f"&as_at={self.as_at}" if self.as_at else "")

    @property
    def day(self) -> date | None:
        """The day the page is as at; None for now."""
        return filters.asked_day(self.as_at)


@dataclass(frozen=True)
class OfPeriod(Address):
    """A page over the jobs closed in some days."""

    since: str = ""
    until: str = ""
    """Both ends included; empty for the 12 months up to the day looked at."""
    row: str = ""
    """The row whose jobs are shown; empty for none."""

    @property
    def days(self) -> tuple[date | None, date | None]:
        """The first and the last day asked for; None for the usual ones."""
        return filters.asked_day(self.since), filters.asked_day(self.until)

    @property
    def key(self) -> str | None:
        """The key of the row asked for."""
        return None if self.row == NO_KEY else self.row

    def to_job(self, job: str) -> str:
        """Give the address of one job from quoted to actual."""
        kept = {name: getattr(self, name) for name in ("as_at", "since", "until")}
        return TimeAsked(**kept).where(job=job)


@dataclass(frozen=True)
class TimeAsked(OfPeriod):
    """What of the minutes is shown."""

    page: ClassVar[str] = "time"
    by: LabourBy = "tier"
    job: str = ""
    """The job that is shown step by step; empty for none."""
    clock: bool = False
    """Whether the form that starts a clock is unfolded."""


@dataclass(frozen=True)
class EarnAsked(OfPeriod):
    """What of the earnings is shown."""

    page: ClassVar[str] = "earnings"
    what_if: str = ""
    """Changes by tier in per cent, `full_service:5:-10` for price and minutes, commas between."""

    @property
    def changes(self) -> dict[str, tuple[int, int]]:
        """Price and minutes changed by tier, in per cent."""
        return changes_of(self.what_if)


def period_params(typed: Mapping[str, str], today: date) -> dict[str, str]:
    """Give the days an address asks for; what cannot be is taken as not asked."""
    day = filters.asked_day(typed.get("as_at"))
    as_at = "" if day is None or day >= today else day.isoformat()
    since, until = filters.asked_day(typed.get("since")), filters.asked_day(typed.get("until"))
    last = day if as_at and day else today
    until = None if until is None or until > last else until
    if since is not None and since > (until or last):
        since = until = None
    return {
        "as_at": as_at,
        "since": since.isoformat() if since else "",
        "until": until.isoformat() if until else "",
    }


def time_asked(typed: Mapping[str, str], today: date) -> TimeAsked:
    """Give what an address of the page of time asks for."""
    by = typed.get("by", "")
    return TimeAsked(
        **period_params(typed, today),
        by=cast(LabourBy, by) if by in LABOUR_BY else LABOUR_BY[0],
        row=typed.get("row", "")[:LONGEST_CODE],
        job=typed.get("job", "")[:LONGEST_CODE],
        clock=typed.get("clock") == "1",
    )


def earn_asked(typed: Mapping[str, str], today: date) -> EarnAsked:
    """Give what an address of the page of earnings asks for."""
    return EarnAsked(
        **period_params(typed, today),
        row=typed.get("row", "")[:LONGEST_CODE],
        what_if=changes_text(changes_of(typed.get("what_if", ""))),
    )


# -- changes by tier --------------------------------------------------------------------------


def changes_of(told: str) -> dict[str, tuple[int, int]]:
    """Give price and minutes changed by tier; a change that cannot be is held to what can."""
    found: dict[str, tuple[int, int]] = {}
    for one in told.split(","):
        tier, *changes = one.split(":")
        numbers = [_number(change) for change in changes]
        if _CODE.fullmatch(tier) and len(numbers) == 2 and None not in numbers:
            found[tier] = (numbers[0] or 0, numbers[1] or 0)
    return found


def _number(text: str) -> int | None:
    if not re.fullmatch(r"-?\d{1,3}", text):
        return None
    return max(-MOST_CHANGE, min(MOST_CHANGE, int(text)))


def changes_text(changes: Mapping[str, tuple[int, int]]) -> str:
    """Give changes by tier as an address has them; those of nothing are left out."""
    return ",".join(f"{tier}:{price}:{minutes}" for tier, (price, minutes) in changes.items()
                    if price or minutes)  # fmt: skip


# -- periods ----------------------------------------------------------------------------------


def periods(asked: OfPeriod, today: date) -> list[tuple[str, str, bool]]:
    """Give the usual periods to choose from, as (words, address, is chosen)."""
    last = asked.day or today
    quarter = (last - timedelta(days=90)).isoformat()
    this, before = last.year, last.year - 1
    offered = (
        ("12 months", "", ""),
        ("13 weeks", quarter, ""),
        (str(this), f"{this}-01-01", ""),
        (str(before), f"{before}-01-01", f"{before}-12-31"),
    )
    return [
        (words, asked.where(since=since, until=until, row=""),
         (asked.since, asked.until) == (since, until))
        for words, since, until in offered
    ]  # fmt: skip
