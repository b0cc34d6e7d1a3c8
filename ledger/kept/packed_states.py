"""The states of many bikes in one table, a row a bike: kept and followed as one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.engines.every.columns import codes_of, places_in
from ledger.engines.every.folds import States
from ledger.engines.every.pieces import PLAIN_TEXTS, TEXT
from ledger.storage.schema import FIGURE, ID, MOMENT

_TEXT = pa.string()


def _texts(*names: str) -> dict[str, pa.DataType]:
    return dict.fromkeys(names, _TEXT)


SHAPES: Mapping[str, Mapping[str, pa.DataType]] = {
    "fitted_parts": {
        **_texts("position", "part", "make", "model"),
        "fitted_at": MOMENT,
        "distance_since_fitted_km": FIGURE,
    },
    "standing_figures": {
        **_texts("kind", "position", "quantity", "point"),
        **dict.fromkeys(("value", "value_low", "value_high"), FIGURE),
        "unit": _TEXT,
        "limit_value": FIGURE,
        "verdict": _TEXT,
        "id": ID,
        "occurred_at": MOMENT,
    },
    "open_faults": {
        **_texts("position", "fault", "cause", "verdict"),
        "found_at": MOMENT,
        "id": ID,
    },
    "open_findings": {**_texts("position", "verdict"), "found_at": MOMENT, "id": ID},
    "open_advice": {
        "id": ID,
        **_texts("position", "verdict", "urgency"),
        "advised_at": MOMENT,
        "answer": _TEXT,
    },
    "open_jobs": {
        **_texts("job", "tier"),
        "opened_at": MOMENT,
        "promised_at": MOMENT,
        "waiting_for": _TEXT,
    },
}
"""The relations that have many rows a bike: each is one column of lists."""
SUMMARY: Mapping[str, pa.DataType] = {
    **_texts("rider", "keeper", "riding"),
    "distance_km": FIGURE,
    "events_used": pa.int64(),
}
_SCHEMA = pa.schema(
    [
        ("bike", _TEXT),
        *SUMMARY.items(),
        *((name, pa.list_(pa.struct(list(shape.items())))) for name, shape in SHAPES.items()),
    ]
)


def packed(ranges: Sequence[States]) -> pa.Table:
    """Give states, ranges of bikes or relations of some bikes, as one table by bike."""
    return pa.concat_tables([_SCHEMA.empty_table(), *map(_packed, ranges)])


def _packed(states: States) -> pa.Table:
    summary = states["bike_summary"].sort_by("bike").combine_chunks()
    bikes = _one(summary["bike"], _TEXT)
    columns = [bikes, *(_one(summary[name], kind) for name, kind in SUMMARY.items())]
    columns += [_lists(states[name], shape, bikes) for name, shape in SHAPES.items()]
    return pa.table(columns, schema=_SCHEMA)


def _one(column: pa.ChunkedArray, kind: pa.DataType) -> pa.Array:
    found = column.cast(kind).combine_chunks()
    return found if isinstance(found, pa.Array) else pa.concat_arrays(found.chunks)


def _lists(table: pa.Table, shape: Mapping[str, pa.DataType], bikes: pa.Array) -> pa.Array:
    """Give the rows of each bike as a list."""
    tags = _one(table["bike"], _TEXT).dictionary_encode()
    bike = places_in(tags.dictionary, bikes)[codes_of(tags)]
    order = np.argsort(bike, kind="stable")
    rows = pa.array(order)
    fields = [_one(table[name], kind).take(rows) for name, kind in shape.items()]
    ends = np.searchsorted(bike[order], np.arange(len(bikes) + 1))
    values = pa.StructArray.from_arrays(fields, fields=[pa.field(*one) for one in shape.items()])
    return pa.ListArray.from_arrays(pa.array(ends, pa.int32()), values)


def unpacked(table: pa.Table) -> States:
    """Give what `packed` made one table of, by bike, as `every_bike` gives it."""
    bikes = _one(table["bike"], _TEXT)
    if len(bikes) > 1 and pc.any(pc.greater(bikes[:-1], bikes[1:])).as_py():
        # Only where some were told anew: sorting copies every list.
        table = table.sort_by("bike").combine_chunks()
        bikes = _one(table["bike"], _TEXT)
    names = ["bike", *SUMMARY]
    columns = [bikes, *(_coded(name, _one(table[name], kind)) for name, kind in SUMMARY.items())]
    return {
        "bike_summary": pa.table(columns, names=names),
        **{name: _rows(table[name], bikes) for name in SHAPES},
    }


def _rows(column: pa.ChunkedArray, bikes: pa.Array) -> pa.Table:
    lists = column.combine_chunks()
    lists = lists if isinstance(lists, pa.Array) else pa.concat_arrays(lists.chunks)
    counts = pc.list_value_length(lists).to_numpy(zero_copy_only=False)
    values = lists.flatten()
    tags = bikes.take(pa.array(np.repeat(np.arange(len(bikes)), counts)))
    fields = {values.type.field(at).name: part for at, part in enumerate(values.flatten())}
    return pa.table({"bike": tags, **{name: _coded(name, part) for name, part in fields.items()}})


def _coded(name: str, column: pa.Array) -> pa.Array:
    if pa.types.is_string(column.type) and name not in PLAIN_TEXTS:
        return column.dictionary_encode().cast(TEXT)
    return column
