"""What is due as rows of a table: sorted, counted and told apart before any object is made of it.

In a great book much is due, and a page shows a few calls of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from itertools import islice
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.calls import STANDINGS, DuePart
from ledger.figures.tags import places
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
_NO_DAY = 2**31 - 1
_AT_ONCE = 5_000
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
    """Give bikes with something that is due on each as rows of ROWS, the most pressing first.

    What presses alike comes by part, quantity and point, and then as it came.
    """
    coming = iter(parts)
    tables = [ROWS.empty_table()]
    while some := list(islice(coming, _AT_ONCE)):
        tables.append(_rows_of(some))
    found = pa.concat_tables(tables)
    came = pa.array(np.arange(len(found)))
    order = pc.sort_indices(
        found.select([*_ORDER, "part", "quantity", "point"]).append_column("came", came),
        [
            *((name, "ascending") for name in (*_ORDER, "part", "quantity")),
            ("point", "ascending", "at_start"),
            ("came", "ascending"),
        ],
    )
    return found.take(order).combine_chunks()


def _rows_of(rows: list[tuple[str, DuePart]]) -> pa.Table:
    """Give rows of ROWS in the order they come."""
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


@dataclass(frozen=True)
class Rows:
    """Rows as `tabled` gives them, and in arrays what they are chosen by: an entry a row."""

    table: pa.Table

    @cached_property
    def bikes(self) -> tuple[pa.Array, Ints]:
        """Every tag once, sorted, and the place of each row's tag among them."""
        return _ranked(self.table["bike"])

    @cached_property
    def part(self) -> Ints:
        """The place of each part's id among all, sorted."""
        return _ranked(self.table["part"])[1]

    @cached_property
    def quantity(self) -> Ints:
        """The place of each quantity among all, sorted."""
        return _ranked(self.table["quantity"])[1]

    @cached_property
    def _alike(self) -> Ints:
        """A number for each row, the same for those that press alike: it rises from row to row."""
        changes = np.zeros(len(self.table), bool)
        for name in _ORDER:
            values = self.table[name].to_numpy()
            changes[1:] |= values[1:] != values[:-1]
        return np.cumsum(changes)

    @cached_property
    def standing(self) -> Ints:
        """Each row's standing as its place in STANDINGS."""
        codes = pc.index_in(self.table["standing"], pa.array(STANDINGS))
        found: Ints = codes.to_numpy().astype(np.int64)
        return found

    @cached_property
    def chance(self) -> npt.NDArray[np.float64]:
        """The chance of being past its limit; 0 where none is told."""
        found: npt.NDArray[np.float64] = pc.fill_null(self.table["chance_past"], 0.0).to_numpy()
        return found

    @cached_property
    def decides_safety(self) -> npt.NDArray[np.bool_]:
        """Whether a figure here may decide whether somebody gets hurt."""
        found: npt.NDArray[np.bool_] = self.table["decides_safety"].to_numpy()
        return found

    @cached_property
    def _is_past(self) -> npt.NDArray[np.bool_]:
        flag = pc.struct_field(self.table["reading"], "flag")
        is_read_past = pc.and_(self.table["was_past"], pc.is_null(flag)).to_numpy()
        is_untold = pc.is_null(self.table["chance_past"]).to_numpy()
        found: npt.NDArray[np.bool_] = is_read_past | is_untold | (self.chance >= LIKELY)
        return found

    @cached_property
    def _comes_on(self) -> Ints:
        """Days since 1970 until the middle date; the last there is where there is none."""
        middle = pc.struct_field(self.table["on"], "middle").cast(pa.int32())
        found: Ints = pc.fill_null(middle, _NO_DAY).to_numpy().astype(np.int64)
        return found

    def due_by(self, last_day: date) -> Ints:
        """Give the rows that are past, or unclear, or come by a day."""
        until = (last_day - date(1970, 1, 1)).days
        found: Ints = np.flatnonzero(self._is_past | (self._comes_on <= until))
        return found

    def under(self, joined: Mapping[str, frozenset[str]]) -> tuple[pa.Array, Ints]:
        """Give `bikes` with joined tags under the first of theirs: no row is of the others then."""
        names, place_of = self.bikes
        tags = pa.array(joined, _TEXT)
        there, is_there = places(tags, names)
        if not is_there.any():
            return names, place_of
        mine, is_mine = there[is_there], pa.array(is_there)
        firsts = pa.array([min(joined[tag]) for tag in tags.filter(is_mine).to_pylist()], _TEXT)
        new = pa.array(sorted(firsts.unique().to_pylist()), _TEXT)
        ends, is_known = places(new, names)
        new, ends = new.filter(pa.array(~is_known)), ends[~is_known]
        before = np.arange(len(names))
        order = np.insert(before, ends, len(names) + np.arange(len(new)))
        others = pa.concat_arrays([names, new]).take(pa.array(order))
        moved = before + np.searchsorted(ends, before, side="right")
        moved[mine] = places(firsts, others)[0]
        return others, moved[place_of]

    def pressing(self, which: Ints, bike: Ints) -> Ints:
        """Give rows by bike and then as they press, of each part and quantity the first alone.

        `which` rises. Bikes, each row's as `under` gives it, come as their first rows press.
        """
        if not len(which):
            return which
        mine, part, quantity = bike[which], self.part[which], self.quantity[which]
        thing = (mine * (part.max() + 1) + part) * (quantity.max() + 1) + quantity
        inner = np.sort(np.unique(thing, return_index=True)[1])
        mine = mine[inner]
        bikes, firsts = np.unique(mine, return_index=True)
        # Bikes whose first rows press alike come by tag.
        turn = np.empty(len(bikes), np.int64)
        turn[np.lexsort((bikes, self._alike[which[inner[firsts]]]))] = np.arange(len(bikes))
        found: Ints = which[inner[np.argsort(turn[np.searchsorted(bikes, mine)], kind="stable")]]
        return found


def _ranked(column: pa.ChunkedArray) -> tuple[pa.Array, Ints]:
    """Give every text once, sorted as Python sorts them, and each row's place among them."""
    encoded = column.combine_chunks().dictionary_encode()
    places = pc.sort_indices(encoded.dictionary)
    rank = np.empty(len(places), np.int64)
    rank[places.to_numpy()] = np.arange(len(places))
    return encoded.dictionary.take(places), rank[encoded.indices.to_numpy()]
