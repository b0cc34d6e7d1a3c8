"""The states of many bikes made into the shape people see, a column at a time."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
import pyarrow as pa

from ledger.engines.every.columns import (
    Choice,
    Numbers,
    codes_of,
    is_one_of,
    micros_of,
    millionths_of,
    places_in,
    told,
    whole,
)
from ledger.engines.every.folds import States
from ledger.view import (
    BikeView,
    FittedPart,
    OpenAdvice,
    OpenFault,
    OpenFinding,
    OpenJob,
    Reading,
    Setting,
)

Made = TypeVar("Made")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_DAY_US = 86_400_000_000


class _Shown:
    """Rows of one relation, by bike and then by what lists of a view are sorted by."""

    def __init__(self, table: pa.Table, bikes: pa.Array, *order: str) -> None:
        columns = {name: whole(table[name]) for name in table.column_names}
        tags = columns["bike"].dictionary_encode()
        bike = places_in(tags.dictionary, bikes)[codes_of(tags)]
        ranks = [_rank(columns[name]) for name in reversed(order)]
        self._places = np.lexsort((*ranks, bike)) if order else np.arange(len(bike))
        self._columns = columns
        self._bike = bike[self._places]

    def where(self, name: str, text: str) -> Choice:
        """Say which rows, in order, tell this text."""
        return is_one_of(self._columns[name], [text])[self._places]

    def lists(
        self,
        size: int,
        make: Callable[..., Made],
        *values: Sequence[Any],
        among: Choice | None = None,
    ) -> list[tuple[Made, ...]]:
        """Give what each of `size` bikes has of rows made into shapes, in order."""
        made = tuple(map(make, *values))
        bike = self._bike if among is None else self._bike[among]
        ends = np.searchsorted(bike, np.arange(size + 1)).tolist()
        return [made[first:end] for first, end in pairwise(ends)]

    def values(self, *names: str, among: Choice | None = None) -> list[Sequence[Any]]:
        """Give columns as plain values, in order: those of `among`."""
        places = self._places if among is None else self._places[among]
        rows = pa.array(places)
        return [_plain(self._columns[name].take(rows)) for name in names]

    def days_until(self, name: str, as_at: datetime) -> Sequence[int | None]:
        """Give whole days from instants until another; None where none is told."""
        column = self._columns[name].take(pa.array(self._places))
        known = told(column)
        days = (_micros(as_at) - micros_of(column.fill_null(_EPOCH))) // _DAY_US
        return [
            day if is_known else None
            for day, is_known in zip(days.tolist(), known.tolist(), strict=True)
        ]


def _micros(moment: datetime) -> int:
    return (moment - _EPOCH) // timedelta(microseconds=1)


def _rank(column: pa.Array) -> Numbers:
    """Give the place of each value in order, none told first, as the empty text is."""
    if not pa.types.is_dictionary(column.type):
        column = column.dictionary_encode()
    rank = np.zeros(len(column.dictionary) + 1, np.int64)
    order = pa.compute.sort_indices(column.dictionary).to_numpy()
    rank[order] = np.arange(1, len(order) + 1)
    return rank[codes_of(column)]


def _plain(column: pa.Array) -> Sequence[Any]:
    if pa.types.is_dictionary(column.type):
        return _picked(column.dictionary.to_pylist(), codes_of(column))
    if pa.types.is_timestamp(column.type):
        return _unique(column, micros_of(column.fill_null(_EPOCH)), _moment)
    if pa.types.is_decimal(column.type):
        return _unique(column, millionths_of(column), _figure)
    if pa.types.is_fixed_size_binary(column.type):
        return _ids(column)
    plain: list[Any] = column.to_pylist()
    return plain


def _picked(names: list[Any], codes: Numbers) -> list[Any]:
    # The last stands for a code of -1: none is told.
    names = [*names, None]
    return [names[code] for code in codes.tolist()]


def _unique(column: pa.Array, numbers: Numbers, make: Callable[[int], Any]) -> list[Any]:
    """Give values made of whole numbers, each of them once; None where none is told."""
    held, codes = np.unique(numbers, return_inverse=True)
    return _picked([make(number) for number in held.tolist()], np.where(told(column), codes, -1))


def _moment(micros: int) -> datetime:
    return _EPOCH + timedelta(microseconds=micros)


def _figure(millionths: int) -> Decimal:
    return Decimal(millionths).scaleb(-6)


def _ids(column: pa.Array) -> list[str]:
    start = column.offset * 16
    digits = column.buffers()[1].slice(start, len(column) * 16).to_pybytes().hex()
    return [
        f"{one[:8]}-{one[8:12]}-{one[12:16]}-{one[16:20]}-{one[20:]}"
        for one in (digits[at : at + 32] for at in range(0, len(digits), 32))
    ]


def views_of(states: States, shop: str, as_at: datetime, known_seq: int) -> Iterator[BikeView]:
    """Give the views of bikes, by tag, from their states."""
    summary = states["bike_summary"]
    bikes = whole(summary["bike"])
    size = len(bikes)
    figures = _Shown(states["standing_figures"], bikes, "position", "quantity", "point")
    columns = zip(
        *_Shown(summary, bikes).values("bike", "rider", "keeper", "riding", "distance_km"),
        _fitted(states["fitted_parts"], bikes, as_at),
        _readings(figures, size),
        _settings(figures, size),
        _listed(states["open_faults"], bikes, OpenFault, ("position", "fault"),
                "position", "fault", "cause", "verdict", "found_at", "id"),
        _listed(states["open_findings"], bikes, OpenFinding, ("position",),
                "position", "verdict", "found_at", "id"),
        _listed(states["open_advice"], bikes, OpenAdvice, ("id",),
                "position", "verdict", "urgency", "advised_at", "answer", "id"),
        _listed(states["open_jobs"], bikes, OpenJob, ("job",),
                "job", "tier", "opened_at", "promised_at", "waiting_for"),
        summary["events_used"].to_pylist(),
        strict=True,
    )  # fmt: skip
    for bike, *rest in columns:
        yield BikeView(shop, bike, as_at, known_seq, *rest)


def _listed(
    table: pa.Table, bikes: pa.Array, make: Callable[..., Made], order: Sequence[str], *names: str
) -> list[tuple[Made, ...]]:
    rows = _Shown(table, bikes, *order)
    return rows.lists(len(bikes), make, *rows.values(*names))


def _fitted(table: pa.Table, bikes: pa.Array, as_at: datetime) -> list[tuple[FittedPart, ...]]:
    rows = _Shown(table, bikes, "position")
    names = ("position", "part", "make", "model", "fitted_at", "distance_since_fitted_km")
    days = rows.days_until("fitted_at", as_at)
    return rows.lists(len(bikes), FittedPart, *rows.values(*names), days)


def _readings(rows: _Shown, size: int) -> list[tuple[Reading, ...]]:
    among = rows.where("kind", "measured")
    values = rows.values(
        "position", "quantity", "point", "value", "value_low", "value_high", "unit",
        "occurred_at", "limit_value", "verdict", "id", among=among,
    )  # fmt: skip
    return rows.lists(size, Reading, *values, among=among)


def _settings(rows: _Shown, size: int) -> list[tuple[Setting, ...]]:
    among = rows.where("kind", "adjusted")
    names = ("position", "quantity", "point", "value", "unit", "occurred_at", "id")
    return rows.lists(size, Setting, *rows.values(*names, among=among), among=among)
