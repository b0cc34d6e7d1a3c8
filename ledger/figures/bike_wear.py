"""How the parts of one bike wear, those that nobody has read yet and those with an age too."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from ledger.book import Book
from ledger.errors import LedgerError
from ledger.figures.ages import PartAge, part_ages
from ledger.figures.wear import BookWear, PartWear, wear_of


class UnknownPart(LedgerError):
    """The bike has, and had, no such part."""


@dataclass(frozen=True, slots=True)
class BikeWear:
    """The wear of one bike as at an instant."""

    bike: str
    as_at: datetime
    parts: tuple[PartWear, ...]
    """Fitted ones; one asked for by name whether fitted or not."""
    ages: tuple[PartAge, ...]
    unread: tuple[tuple[str, str], ...]
    """(position, part) of fitted parts that are read for wear, and were not yet."""


def bike_wear(
    book: Book,
    bike: str,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    part: str | None = None,
    wear: BookWear | None = None,
) -> BikeWear:
    """Give the wear of one bike, by position; its rates lean on the whole fleet's.

    `part` keeps one part, by id or position, fitted or not. Raises UnknownBike, and UnknownPart
    for what is neither a part of the bike nor a position, with what the bike has.
    """
    book.require_bike(bike)
    found = wear or wear_of(book, as_at, known_seq)
    tags = book.aliases(known_seq).get(bike, frozenset({bike}))
    rows = [row for row in found.tables.parts.to_pylist() if row["bike"] in tags]
    wanted = [row for row in rows if _is_wanted(row, part)]
    if part is not None and not wanted and part not in book.vocabulary.positions:
        raise _unknown(book, bike, part, rows)
    names = {row["part"] for row in wanted}
    worn = [each for each in found.on_bikes(tags) if each.part in names]
    ages = part_ages(book, found.tables.parts, found.as_at, known_seq)
    return BikeWear(
        bike=bike,
        as_at=found.as_at,
        parts=tuple(sorted(worn, key=lambda each: (each.position, each.series))),
        ages=tuple(age for age in ages if age.part in names),
        unread=_unread(book, wanted, {each.part for each in worn}, found.today),
    )


def _is_wanted(row: Mapping[str, Any], part: str | None) -> bool:
    return bool(row["is_fitted"]) if part is None else part in (row["part"], row["position"])


def _unknown(book: Book, bike: str, part: str, rows: list[dict[str, Any]]) -> UnknownPart:
    near = book.vocabulary.nearest("positions", part)
    meant = f" Did you mean {' or '.join(near)}?" if near else ""
    here = ", ".join(sorted({row["position"] for row in rows if row["is_fitted"]}))
    known = f"It has parts at {here}." if here else "No part of it is recorded."
    return UnknownPart(f"Bike {bike} has no part and no position {part!r}.{meant} {known}")


def _unread(
    book: Book, rows: list[dict[str, Any]], read: set[str], day: date
) -> tuple[tuple[str, str], ...]:
    words, today = book.vocabulary, day.isoformat()
    quantities = {limit.quantity for limit in words.limits} - {"age", "runout"}
    missing = [
        (row["position"], row["part"])
        for row in rows
        if row["is_fitted"]
        and row["part"] not in read
        and any(words.limit_for(row["position"], each, None, today) for each in quantities)
    ]
    return tuple(sorted(missing))
