"""What is due as rows of a table: sorted, counted and told apart before any object is made of it.

In a great book much is due, and a page shows a few calls of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from datetime import date
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.calls import STANDINGS, DuePart
from ledger.figures.wear_shapes import LIKELY, DueDates, Estimate, WearReading

Ints = npt.NDArray[np.int64]
_FIGURE, _TEXT, _AT = pa.float64(), pa.string(), pa.timestamp("us", tz="UTC")
_ESTIMATE = pa.struct(dict.fromkeys(("low", "middle", "high"), _FIGURE))
_DATES = pa.struct({name: pa.date32() for name in ("early", "middle", "late")})
_READING = pa.struct(
    {
        "event": _TEXT, "measured_at": _AT, "exposure": _FIGURE, "exposure_error": _FIGURE,
        "value": _FIGURE, "low": _FIGURE, "high": _FIGURE, "gauge": _TEXT, "flag": _TEXT,
    }
)  # fmt: skip
_NESTED: Mapping[str, tuple[pa.DataType, Callable[..., Any]]] = {
    "reading": (_READING, WearReading),
    "now": (_ESTIMATE, Estimate),
    "on": (_DATES, DueDates),
}
_PART = pa.schema(
    {
        "part": _TEXT, "position": _TEXT, "place": _TEXT, "point": _TEXT, "quantity": _TEXT,
        "quantity_label": _TEXT, "make": _TEXT, "model": _TEXT, "unit": _TEXT, "limit": _FIGURE,
        "direction": pa.int8(), "standing": _TEXT, "was_past": pa.bool_(), "fitted_at": _AT,
        "decides_safety": pa.bool_(), "reading": _READING, "count_readings": pa.int32(),
        "exposure_unit": _TEXT, "chance_past": _FIGURE, "now": _ESTIMATE, "on": _DATES,
        "beyond": _FIGURE, "days_beyond": _FIGURE,
    }
)  # fmt: skip
"""The fields of DuePart."""
_ORDER = ("order_standing", "order_first", "order_then")
ROWS = pa.schema(
    [
        pa.field("bike", _TEXT),
        *_PART,
        pa.field("order_standing", pa.int8()),
        pa.field("order_first", _FIGURE),
        pa.field("order_then", _FIGURE),
    ]
)
"""One thing that is due on one bike, with its `DuePart.order`; a bike's rows need not be together.
"""


def tabled(parts: Iterable[tuple[str, DuePart]]) -> pa.Table:
    """Give bikes with something that is due on each as rows of ROWS, in the order they come."""
    rows = list(parts)
    orders = [part.order for _, part in rows]
    columns = [pa.array([bike for bike, _ in rows], _TEXT)]
    for field in _PART:
        values = [getattr(part, field.name) for _, part in rows]
        if field.name in _NESTED:
            values = [None if one is None else _plain(one, field.type) for one in values]
        columns.append(pa.array(values, field.type))
    for place, name in enumerate(_ORDER):
        columns.append(pa.array([one[place] for one in orders], ROWS.field(name).type))
    return pa.table(columns, schema=ROWS)


def _plain(one: Any, kind: pa.StructType) -> dict[str, Any]:
    return {field.name: getattr(one, field.name) for field in kind}


def parts_in(rows: pa.Table) -> list[DuePart]:
    """Give what is due by rows of ROWS, in their order."""
    columns = []
    for name in _PART.names:
        values = rows[name].to_pylist()
        if name in _NESTED:
            made = _NESTED[name][1]
            values = [None if one is None else made(**one) for one in values]
        columns.append(values)
    return [DuePart(*values) for values in zip(*columns, strict=True)]


def due_by(rows: pa.Table, last_day: date) -> pa.Table:
    """Give the rows that are due by a day: of those that are past, or unclear, or come by then."""
    chance, on = rows["chance_past"], pc.struct_field(rows["on"], "middle")
    flag = pc.struct_field(rows["reading"], "flag")
    is_read_past = pc.and_(rows["was_past"], pc.is_null(flag))
    is_past = pc.or_(pc.is_null(chance), pc.greater_equal(pc.fill_null(chance, 0.0), LIKELY))
    is_coming = pc.fill_null(pc.less_equal(on, pa.scalar(last_day, pa.date32())), False)
    return rows.filter(pc.or_(pc.or_(is_past, is_read_past), is_coming))


def under(rows: pa.Table, joined: Mapping[str, frozenset[str]]) -> pa.Table:
    """Give rows under the first tag of their bike, where tags are joined."""
    if not joined or not len(rows):
        return rows
    bikes = rows["bike"].combine_chunks().dictionary_encode()
    names = [min(joined.get(tag, (tag,))) for tag in bikes.dictionary.to_pylist()]
    renamed = pa.array(names, _TEXT).take(bikes.indices)
    return rows.set_column(0, ROWS.field("bike"), renamed)


def pressing(rows: pa.Table) -> pa.Table:
    """Give rows by bike and then as they press, of each part and quantity the most pressing point.

    Bikes come as their first rows press.
    """
    if not len(rows):
        return rows
    bike, part, quantity = (_ranks(rows[name]) for name in ("bike", "part", "quantity"))
    keys = _order_keys(rows)
    by_part = np.lexsort((*keys[::-1], quantity, part, bike))
    same = [one[by_part] for one in (bike, part, quantity)]
    is_first = np.ones(len(by_part), bool)
    is_first[1:] = np.any([one[1:] != one[:-1] for one in same], axis=0)
    most = by_part[is_first]
    inner = most[np.lexsort((quantity[most], part[most], *(key[most] for key in keys[::-1])))]
    # Stable from here on: each bike's rows stay as they press.
    place = np.full(bike.max() + 1, len(inner))
    np.minimum.at(place, bike[inner], np.arange(len(inner)))
    # Bikes whose first rows press alike come by tag.
    firsts = np.unique(place[bike[inner]])
    tags = bike[inner[firsts]]
    ordered = firsts[np.lexsort((tags, *(key[inner[firsts]] for key in keys[::-1])))]
    turn = np.empty(len(place), np.int64)
    turn[bike[inner[ordered]]] = np.arange(len(ordered))
    return rows.take(pa.array(inner[np.argsort(turn[bike[inner]], kind="stable")]))


def _order_keys(rows: pa.Table) -> list[npt.NDArray[np.float64]]:
    return [rows[name].to_numpy().astype(np.float64) for name in _ORDER]


def _ranks(column: pa.ChunkedArray) -> Ints:
    """Give for each text its place among all of them, sorted as Python sorts them."""
    encoded = column.combine_chunks().dictionary_encode()
    places = pc.sort_indices(encoded.dictionary).to_numpy()
    rank = np.empty(len(places), np.int64)
    rank[places] = np.arange(len(places))
    found: Ints = rank[encoded.indices.to_numpy()]
    return found


def starts_of(column: pa.ChunkedArray) -> Ints:
    """Give where each run of one text begins, and at last how many rows there are."""
    codes = column.combine_chunks().dictionary_encode().indices.to_numpy()
    is_new = np.flatnonzero(np.diff(codes, prepend=-1)) if len(codes) else np.array([], np.int64)
    return np.append(is_new, len(codes))


def standings(rows: pa.Table) -> Ints:
    """Give each row's standing as its place in STANDINGS."""
    codes = pc.index_in(rows["standing"], pa.array(STANDINGS))
    found: Ints = codes.to_numpy().astype(np.int64)
    return found
