"""Columns of a book's tables as plain arrays, and which row of one falls in which of another."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

NONE = -1
"""The code of null, and of what falls in nothing."""
_DAY_US = 86_400_000_000
NULL_TIME = np.iinfo(np.int64).min


@dataclass(frozen=True, slots=True, eq=False)
class Coded:
    """A column of names as numbers: NONE where it is null, else a place in `names`."""

    names: tuple[str, ...]
    """In alphabetical order."""
    code: Integers


def coded(column: pa.ChunkedArray | pa.Array) -> Coded:
    """Give a column of text as codes."""
    encoded = _whole(column).dictionary_encode()
    names = encoded.dictionary
    order = np.asarray(pc.array_sort_indices(names), dtype=np.int64)
    rank = np.empty(len(names), dtype=np.int64)
    rank[order] = np.arange(len(names))
    place = np.asarray(encoded.indices.fill_null(0), dtype=np.int64)
    code = rank[place] if len(names) else np.full(len(place), NONE, dtype=np.int64)
    code[np.asarray(encoded.is_null())] = NONE
    return Coded(tuple(names.take(pa.array(order)).to_pylist()), code)


def codes_in(column: pa.ChunkedArray | pa.Array, names: Sequence[str] | pa.Array) -> Integers:
    """Give each row's place in some names; NONE where it is null or none of them."""
    known = names if isinstance(names, pa.Array) else pa.array(names, pa.string())
    found = pc.index_in(_whole(column), value_set=known).fill_null(NONE)
    return np.asarray(found, dtype=np.int64)


def micros(column: pa.ChunkedArray | pa.Array) -> Integers:
    """Give instants as microseconds since 1970; NULL_TIME for null."""
    whole = _whole(column).cast(pa.timestamp("us", tz="UTC")).cast(pa.int64())
    return np.asarray(whole.fill_null(NULL_TIME), dtype=np.int64)


def days(span_us: Integers) -> Floats:
    """Give microseconds as days."""
    return np.asarray(span_us / _DAY_US)


def floats(column: pa.ChunkedArray | pa.Array) -> Floats:
    """Give a column of figures; NaN for null."""
    whole = _whole(column).cast(pa.float64())
    return np.asarray(whole.to_numpy(zero_copy_only=False), dtype=np.float64)


def flags(column: pa.ChunkedArray | pa.Array) -> Flags:
    """Give a column of true and false; false for null."""
    return np.asarray(_whole(column).fill_null(False), dtype=np.bool_)


def pairs(first: Integers, second: Integers, width: int | None = None) -> Integers:
    """Give one code for each pair of codes; NONE where either is.

    `width` is above all second codes: where given, codes of several calls can be compared.
    """
    width = int(second.max(initial=0)) + 1 if width is None else width
    return np.where((first == NONE) | (second == NONE), NONE, first * width + second)


def keys(group: Integers, at: Integers) -> Integers:
    """Give a number that orders by group (0 and up), then by time.

    Times are told apart to the microsecond where that fits, else as finely as does.
    """
    start, count = int(at.min()), int(group.max()) + 2
    span = int(at.max()) - start + 1
    step = -(-span * count // int(np.iinfo(np.int64).max))
    width = span // step + 1
    return np.asarray(group * width + (at - start) // step)


def last_before(
    group: Integers, at: Integers, of_group: Integers, of_at: Integers, *, or_at: bool = False
) -> Integers:
    """Give, for each (of_group, of_at), the row of (group, at) with the last time before it.

    NONE where its group has none, or its group is NONE. With `or_at`, at the very time counts.
    """
    rows, asked = np.flatnonzero(group != NONE), np.flatnonzero(of_group != NONE)
    found = np.full(len(of_at), NONE, dtype=np.int64)
    if not len(rows) or not len(asked):
        return found
    every = np.concatenate([at[rows], of_at[asked]])
    key = keys(np.concatenate([group[rows], of_group[asked]]), every)
    order = np.argsort(key[: len(rows)], kind="stable")
    side: Literal["left", "right"] = "right" if or_at else "left"
    place = np.searchsorted(key[: len(rows)][order], key[len(rows) :], side=side) - 1
    row = rows[order[np.maximum(place, 0)]]
    is_found = (place >= 0) & (group[row] == of_group[asked])
    found[asked[is_found]] = row[is_found]
    return found


def rows_of_jobs(
    job: pa.ChunkedArray, bike: Integers, asked_job: pa.ChunkedArray, asked_bike: Integers
) -> Integers:
    """Give the row of (bike, job), both a row a job, that each asked pair is; NONE where none."""
    place = codes_in(asked_job, _whole(job))
    is_known = place != NONE
    if not len(bike) or np.array_equal(bike[place[is_known]], asked_bike[is_known]):
        return place
    # One job's name on several bikes: joined tags, or names counted anew for each bike.
    names = _whole(job).dictionary_encode()
    width = len(names.dictionary)
    asked = pairs(asked_bike, codes_in(asked_job, names.dictionary), width)
    key = pairs(bike, np.asarray(names.indices, dtype=np.int64), width)
    return _rows_of(key, asked)


def _rows_of(key: Integers, asked: Integers) -> Integers:
    order = np.argsort(key)
    place = np.minimum(np.searchsorted(key[order], asked), len(key) - 1)
    return np.where((key[order][place] == asked) & (asked != NONE), order[place], NONE)


def first_of(code: Integers, count: int, value: Integers, is_asked: Flags) -> Integers:
    """Give for each code the row of the least value among those asked for; NONE for none."""
    rows = np.flatnonzero(is_asked & (code != NONE))
    rows = rows[np.lexsort((value[rows], code[rows]))][::-1]
    first = np.full(count, NONE, dtype=np.int64)
    first[code[rows]] = rows
    return first


def _whole(column: pa.ChunkedArray | pa.Array) -> pa.Array:
    found = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    if pa.types.is_dictionary(found.type):
        return found.cast(found.type.value_type)
    return found
