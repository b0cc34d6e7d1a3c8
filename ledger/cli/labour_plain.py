"""Shapes of figures for other programs: whole as JSON, and flat as the columns of a table.

Both give every field of a shape and every property, so that none is forgotten. JSON keeps the
names and units of the shapes, and rounds nothing. In tables the names are words, and amounts
are in the currency's major unit.
"""

from __future__ import annotations

import math
import types
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Any, Union, get_args, get_origin, get_type_hints

from ledger.events.types import format_moment
from ledger.exchange.sheets import Cell, Sheet
from ledger.money import major, minor_digits

if TYPE_CHECKING:
    from ledger.settings import BookSettings

MONEY_FIELDS = {"Estimate": ("value", "low_80", "high_80", "low_95", "high_95")}
"""Fields in minor units whose names do not say so, by shape."""


@cache
def names_of(shape: type) -> tuple[str, ...]:
    """Give the names of a shape's fields, then of its properties."""
    derived = [name for name, one in vars(shape).items() if isinstance(one, property)]
    return (*(field.name for field in fields(shape)), *derived)


def plain(value: Any) -> Any:
    """Give shapes as plain JSON types: instants in UTC, a figure that is none as null."""
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if is_dataclass(value) and not isinstance(value, type):
        return {name: plain(getattr(value, name)) for name in names_of(type(value))}
    if isinstance(value, datetime):
        return format_moment(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, (tuple, list)):
        return [plain(one) for one in value]
    return value


def heading(book: Any, found: Any) -> dict[str, Any]:
    """Give what figures are of: when, what was known, the period, the currency, the finding."""
    return {name: plain(one) for name, one in _heading(book.settings, found).items()}


def heading_lines(book: Any, found: Any) -> list[tuple[str, Any]]:
    """Give the same for a table of single figures."""
    said = _heading(book.settings, found)
    period = said.pop("period")
    notes = [("note", note) for note in said.pop("notes")]
    return [*said.items(), *single(period), *notes]


def _heading(settings: BookSettings, found: Any) -> dict[str, Any]:
    return {
        "as_at": found.as_at,
        "as_known": found.known_seq,
        "currency": settings.currency,
        "minor_digits": minor_digits(settings.currency),
        "period": found.period,
        "finding": found.front,
        "notes": found.notes,
    }


# -- tables -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Column:
    """One column: where its figure stands in a shape, its name, and whether it is money."""

    path: tuple[str, ...]
    name: str
    is_money: bool


@cache
def columns_of(shape: type) -> tuple[Column, ...]:
    """Give a column for each single figure of a shape, those of the shapes inside it too."""
    return tuple(_columns(shape, ()))


def _columns(shape: type, path: tuple[str, ...]) -> Iterator[Column]:
    for name in names_of(shape):
        inner = _shape_in(_type_of(shape, name))
        here = (*path, name)
        if inner is not None:
            yield from _columns(inner, here)
        else:
            is_money = name.endswith("_minor") or name in MONEY_FIELDS.get(shape.__name__, ())
            yield Column(here, _words(here), is_money or name == "minor")


def _type_of(shape: type, name: str) -> Any:
    found = vars(shape).get(name)
    if isinstance(found, property):
        return get_type_hints(found.fget)["return"]
    return get_type_hints(shape)[name]


def _shape_in(kind: Any) -> type | None:
    """Give the shape a field holds one of, or None where it holds none, or several."""
    if get_origin(kind) in (Union, types.UnionType):
        return next((found for one in get_args(kind) if (found := _shape_in(one))), None)
    return kind if isinstance(kind, type) and is_dataclass(kind) else None


def _words(path: Sequence[str]) -> str:
    """Give the name of a column: `variances rate`, `jobs`."""
    said = [name.removesuffix("_minor").removeprefix("count_").removeprefix("is_") for name in path]
    return " ".join(name for name in said if name not in ("earning", "minor")).replace("_", " ")


def sheet(name: str, shape: type, rows: Iterable[Any], settings: BookSettings) -> Sheet:
    """Give rows of one shape as a table; amounts in the currency's major unit."""
    columns = columns_of(shape)
    heads = (f"{one.name} ({settings.currency})" if one.is_money else one.name for one in columns)
    cells = (tuple(_cell(row, column, settings) for column in columns) for row in rows)
    return Sheet(name, tuple(heads), tuple(cells))


def about(name: str, lines: Iterable[tuple[str, Any]], settings: BookSettings) -> Sheet:
    """Give single figures, by their names (`caused.minutes`), as a table of two columns."""
    rows = tuple(
        (f"{_words(what.split('.'))} ({settings.currency})", amount(figure, settings))
        if what.endswith("minor")
        else (_words(what.split(".")), cell_of(figure, settings))
        for what, figure in lines
    )
    return Sheet(name, ("what", "figure"), rows)


def single(value: Any, of: str = "") -> list[tuple[str, Any]]:
    """Give the figures of a shape that are one value each, with their names after `of`."""
    shape: type = type(value)
    columns = (column for column in columns_of(shape) if len(column.path) == 1)
    found = [(column.path[0], getattr(value, column.path[0])) for column in columns]
    return [(f"{of}{name}", one) for name, one in found if not isinstance(one, tuple)]


def _cell(row: Any, column: Column, settings: BookSettings) -> Cell:
    value = row
    for name in column.path:
        value = None if value is None else getattr(value, name)
    return amount(value, settings) if column.is_money else cell_of(value, settings)


def amount(minor: float | None, settings: BookSettings) -> Decimal | float | None:
    """Give minor units in the major one: exact where they are whole."""
    if isinstance(minor, float):
        return float(minor / 10 ** minor_digits(settings.currency))
    exact: Decimal | None = None if minor is None else major(minor, settings.currency)
    return exact


def cell_of(value: Any, settings: BookSettings) -> Cell:
    """Give a value as a cell: instants in the book's zone, several in one text."""
    if isinstance(value, datetime):
        return settings.local(value)
    if isinstance(value, (tuple, list)):
        return "; ".join(str(one) for one in value)
    cell: Cell = value
    return cell
