"""Columns of units, strata and bikes as codes, and cells of what happened among them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.funnel_chances import Cells, CountArray
from ledger.analysis.life_bounds import (
    BadLives,
    BoolArray,
    Column,
    FloatArray,
    figures,
    refuse,
)


@dataclass(frozen=True, slots=True, eq=False)
class Coded:
    """A column of names as numbers."""

    names: tuple[object, ...]
    """Sorted where they can be; a name that is lacking last, as None."""
    code: CountArray
    """Which of `names`, one entry a row."""


@dataclass(frozen=True, slots=True, eq=False)
class Followed:
    """Repairs by when they came back: the cells of events, and where each repair stands in them."""

    cells: Cells
    first: CountArray
    """The first cell of each repair's stratum, one entry a repair."""
    after: CountArray
    """One past the last cell it was still at risk in."""


def floats_of(column: Column, field: str) -> FloatArray:
    """Give a column as floats, arrays as they are; `BadLives` names bad rows."""
    if isinstance(column, np.ndarray) and column.ndim == 1 and column.dtype.kind in "iufb":
        floats = column.astype(np.float64)
        refuse(np.isnan(floats), field, "it is not a number", "Give a number")
        return floats
    return figures(column, field)


def whole_of(column: Column, field: str) -> CountArray:
    """Give a column as whole numbers from 0 up; `BadLives` names bad rows."""
    floats = floats_of(column, field)
    is_whole = (floats >= 0) & (floats < 2**53) & (floats == np.floor(floats))
    refuse(~is_whole, field, "it is no count", "Give a whole number from 0 up")
    return floats.astype(np.int64)


def flags_of(column: Column, field: str) -> BoolArray:
    """Give a column of true and false (or 1 and 0); `BadLives` names bad rows."""
    floats = floats_of(column, field)
    refuse((floats != 0) & (floats != 1), field, "it is neither yes nor no", "Give True or False")
    return np.asarray(floats == 1)


def coded(column: Column, field: str, count_rows: int, *, may_lack: bool) -> Coded:
    """Give a column of names as codes; `BadLives` names rows without one, where they may not lack.

    Raises `BadLives` too for a column of another length, or of names of different kinds.
    """
    encoded = _arrow(column, field).dictionary_encode(null_encoding="encode")
    code = np.asarray(encoded.indices, dtype=np.int64)
    if len(code) != count_rows:
        wrong = f"it has {len(code)} rows where the first has {count_rows}"
        raise BadLives("column", field, wrong, "Give one a row")
    is_lacking = np.asarray(encoded.dictionary.is_null())
    if not may_lack and is_lacking.any():
        refuse(is_lacking[code], field, "it is not told", "Give one, or leave the row out")
    order = np.asarray(pc.sort_indices(encoded.dictionary), dtype=np.int64)
    rank = np.empty(len(order), dtype=np.int64)
    rank[order] = np.arange(len(order))
    return Coded(tuple(encoded.dictionary.take(pa.array(order)).to_pylist()), rank[code])


def _arrow(column: Column, field: str) -> pa.Array:
    try:
        listed = column if isinstance(column, pa.Array | pa.ChunkedArray) else pa.array(column)
    except (pa.ArrowInvalid, pa.ArrowTypeError):
        raise BadLives("column", field, "its names are of different kinds", "Give text") from None
    listed = listed.combine_chunks() if isinstance(listed, pa.ChunkedArray) else listed
    is_listed = pa.types.is_dictionary(listed.type)
    return pc.cast(listed, listed.type.value_type) if is_listed else listed


def one_stratum(count_rows: int) -> Coded:
    """Give what stands for a column of strata where there is none."""
    return Coded((None,), np.zeros(count_rows, dtype=np.int64))


def cells_of_counts(unit: Coded, stratum: Coded, count: CountArray, size: CountArray) -> Cells:
    """Give the cells of counts and sizes, a cell a stratum; rows of one unit are added up."""
    shape = (len(stratum.names), len(unit.names))
    place = stratum.code * shape[1] + unit.code
    cells = shape[0] * shape[1]
    sizes = np.bincount(place, weights=size, minlength=cells).reshape(shape)
    events = np.bincount(stratum.code, weights=count, minlength=shape[0])
    of_unit = np.rint(sizes).astype(np.int64)
    is_some = of_unit.sum(axis=1) > 0
    drawn = np.rint(events).astype(np.int64)[is_some]
    return Cells(of_unit[is_some].sum(axis=1), drawn, of_unit[is_some])


def followed(unit: Coded, stratum: Coded, time: FloatArray, is_event: BoolArray) -> Followed:
    """Give the cells of repairs followed for a time: a cell a stratum and time of an event.

    At risk in a cell are those followed for as long or longer.
    """
    times = np.unique(time[is_event])
    steps = len(times) + 1
    key = stratum.code * steps + np.searchsorted(times, time, side="right")
    cell_key, events = np.unique(key[is_event], return_counts=True)
    first = np.searchsorted(cell_key, stratum.code * steps)
    after = np.searchsorted(cell_key, key, side="right")
    is_at_risk = after > first
    shape = (len(cell_key), len(unit.names))
    place = (after[is_at_risk] - 1) * shape[1] + unit.code[is_at_risk]
    last_seen = np.bincount(place, minlength=shape[0] * shape[1]).reshape(shape)
    of_unit = _from_behind(last_seen, cell_key // steps)
    return Followed(Cells(of_unit.sum(axis=1), events, of_unit), first, after)


def _from_behind(counts: CountArray, stratum: CountArray) -> CountArray:
    """Add up from each cell to the last of its stratum."""
    sums = np.zeros((len(counts) + 1, counts.shape[1]), dtype=np.int64)
    np.cumsum(counts[::-1], axis=0, out=sums[1:])
    sums = sums[::-1]
    end = np.searchsorted(stratum, stratum, side="right")
    return np.asarray(sums[:-1] - sums[end])
