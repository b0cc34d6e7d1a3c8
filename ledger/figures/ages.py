"""Parts with a limit on their age: how old they are, and the day they reach it.

A limit on age is the maker's, given where the part was fitted, or the shop's own; none is
published for all. Age counts from the day a part was first fitted new.
"""

from __future__ import annotations

import calendar
import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.figures.ahead import AGE_LIMITS, FITTINGS, BookTables
from ledger.kept import Keep, Read, kept
from ledger.vocabulary import Vocabulary

DAYS_A_YEAR = Decimal("365.25")
DAYS_A_MONTH = DAYS_A_YEAR / 12
_AGE = '"quantity":"age"'
_OF_PART = ("part", "bike", "position", "make", "model", "fitted_at", "is_found")
_AT_ONCE = 20_000
_OLD_WHEN_FITTED = ("second hand", "unknown")


@dataclass(frozen=True, slots=True)
class PartAge:
    """One fitted part that has a limit on its age, as at an instant."""

    part: str
    bike: str
    position: str
    make: str | None
    model: str | None
    fitted_at: datetime
    """When it was first fitted, or first seen where it was found."""
    why_unknown: str | None
    """Why its age is not known: "found fitted", "not new when fitted"; None where it is."""
    age_days: float | None
    limit_days: float
    due_on: date | None
    """None where its age is not known."""
    is_makers: bool
    """The maker's limit; else the shop's own."""


def part_ages(
    book: Book,
    parts: pa.Table,
    as_at: datetime,
    known_seq: int | None = None,
    *,
    ahead: BookTables | None = None,
) -> list[PartAge]:
    """Give the fitted parts that have a limit on their age, by bike, position and part.

    `parts` as `ledger.analysis.readings.PARTS`, as at the same instant; `ahead` are the book's
    tables as at the same, where they were asked for before.
    """
    words = book.vocabulary if known_seq is None else book.vocabulary_known(known_seq)
    tables = ahead or BookTables(book, as_at, known_seq)
    told = kept(book, FITTED_AGES, tables.asked)
    makers = _makers_limits(_told_limits(tables.answer(AGE_LIMITS)) if told is None else told)
    if not makers and not any(limit.quantity == "age" for limit in words.limits):
        return []
    fittings = tables.answer(FITTINGS) if told is None else told
    old = fittings.filter(pc.is_in(fittings["origin"], pa.array(_OLD_WHEN_FITTED)))["part"]
    today = book.settings.local(as_at).date().isoformat()
    limits = _Told(words, today, makers, frozenset(old.to_pylist()))
    fitted = parts.filter(parts["is_fitted"]).select(_OF_PART)
    rows = (row for some in fitted.to_batches(_AT_ONCE) for row in some.to_pylist())
    found = [age for row in rows if (age := _age(book, row, limits, as_at)) is not None]
    return sorted(found, key=lambda age: (age.bike, age.position, age.part))


def _fitted_ages(read: Read) -> pa.Table:
    """Give every fitting of a part that was not new, or whose maker limits its age."""
    table = _told_limits(read("fitting_documents"))
    is_old = pc.is_in(table["origin"], pa.array(_OLD_WHEN_FITTED))
    return table.filter(pc.or_(is_old, pc.is_valid(table["limit_days"])))


def _told_limits(fittings: pa.Table) -> pa.Table:
    """Give fittings with the maker's limit on the part's age that they tell, in days, as text."""
    is_told = pc.match_substring(fittings["canonical"].cast(pa.string()), _AGE)
    days: list[str | None] = [None] * len(fittings)
    for row in np.flatnonzero(is_told.to_numpy()).tolist():
        for limit in json.loads(fittings["canonical"][row].as_py())["data"].get("limits", ()):
            if limit["quantity"] == "age":
                days[row] = limit["limit"]["canonical"]
    names = ["bike", "part", "origin", "occurred_at", "seq"]
    return fittings.select(names).append_column("limit_days", pa.array(days, pa.string()))


FITTED_AGES = Keep(
    "fitted_ages", ("fitting_documents",), _fitted_ages,
    ("ledger.figures.ages", "ledger.kept.keep", "ledger.kept.reading"),
)  # fmt: skip


def _makers_limits(fittings: pa.Table) -> dict[str, Decimal]:
    """Give the maker's limit on the age of parts, in days, as the last fitting says."""
    told = fittings.filter(pc.is_valid(fittings["limit_days"])).to_pylist()
    ordered = sorted(told, key=lambda row: (row["occurred_at"], row["seq"]))
    return {row["part"]: Decimal(row["limit_days"]) for row in ordered}


@dataclass(frozen=True, slots=True)
class _Told:
    """What is told of the ages of parts."""

    words: Vocabulary
    today: str
    makers: Mapping[str, Decimal]
    old: frozenset[str]
    """Parts that were not new when they were fitted."""

    def limit(self, part: str, position: str) -> tuple[Decimal, bool] | None:
        """Give the limit on a part's age in days, and whether it is the maker's."""
        if part in self.makers:
            return self.makers[part], True
        shops = self.words.limit_for(position, "age", None, self.today)
        return (shops.due, False) if shops and shops.direction == "above" else None


def _age(book: Book, row: Mapping[str, Any], told: _Told, as_at: datetime) -> PartAge | None:
    limit = told.limit(row["part"], row["position"])
    if limit is None:
        return None
    why = (
        "found fitted"
        if row["is_found"]
        else "not new when fitted"
        if row["part"] in told.old
        else None
    )
    first = book.settings.local(row["fitted_at"]).date()
    return PartAge(
        part=row["part"],
        bike=row["bike"],
        position=row["position"],
        make=row["make"],
        model=row["model"],
        fitted_at=row["fitted_at"],
        why_unknown=why,
        age_days=None if why else (as_at - row["fitted_at"]) / timedelta(days=1),
        limit_days=float(limit[0]),
        due_on=None if why else after(first, limit[0]),
        is_makers=limit[1],
    )


def after(first: date, days: Decimal) -> date:
    """Give the day so many days after another: whole months and years go by the calendar."""
    months = days / DAYS_A_MONTH
    if months != months.to_integral_value():
        return first + timedelta(days=int(days))
    years, month = divmod(first.month - 1 + int(months), 12)
    year = first.year + years
    return date(year, month + 1, min(first.day, calendar.monthrange(year, month + 1)[1]))


def age_words(days: Decimal) -> str:
    """Give a limit on age as people say it: `6 years`, `18 months`, `400 days`."""
    for length, name in ((DAYS_A_YEAR, "year"), (DAYS_A_MONTH, "month"), (Decimal(1), "day")):
        count = days / length
        if count == count.to_integral_value():
            return f"{int(count)} {name}{'' if count == 1 else 's'}"
    return f"{days.normalize():f} days"
