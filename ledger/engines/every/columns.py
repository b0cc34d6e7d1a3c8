"""Columns of events as numbers: texts by their place among those there are, instants, figures.

Everything here is exact: figures are whole millionths, instants microseconds.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

Numbers = npt.NDArray[np.int64]
Choice = npt.NDArray[np.bool_]

NONE = -1
"""The code of a text that is not told."""


def whole(column: pa.ChunkedArray) -> pa.Array:
    """Give a column in one piece, its texts by one dictionary."""
    if pa.types.is_dictionary(column.type):
        column = column.unify_dictionaries()
    found = column.combine_chunks()
    if isinstance(found, pa.ChunkedArray):
        return found.chunk(0) if found.num_chunks else pa.array([], column.type)
    return found


def codes_of(column: pa.Array) -> Numbers:
    """Give each text's place in the column's dictionary; NONE where none is told."""
    indices = column.indices
    if indices.null_count:
        indices = pc.fill_null(indices, NONE)
    codes = indices.to_numpy(zero_copy_only=False)
    return np.asarray(codes, dtype=np.int64)


def places_in(texts: pa.Array, among: pa.Array) -> Numbers:
    """Give each text's place among others; NONE of one that is not there."""
    found = pc.fill_null(pc.index_in(texts, among), NONE)
    return np.asarray(found.to_numpy(zero_copy_only=False), dtype=np.int64)


def tag_numbers(tags: pa.Array | pa.ChunkedArray) -> Numbers:
    """Give tags of bikes as numbers in the order of their texts, eight bytes of ASCII each.

    Raises ArrowInvalid for a text that is no tag by its length.
    """
    column = tags.combine_chunks() if isinstance(tags, pa.ChunkedArray) else tags
    fixed = column.cast(pa.binary(8))
    words = np.frombuffer(fixed.buffers()[1] or b"", ">i8")
    return words[fixed.offset : fixed.offset + len(fixed)].astype(np.int64)


def told(column: pa.Array) -> Choice:
    """Say where a column tells something."""
    return np.asarray(column.is_valid().to_numpy(zero_copy_only=False), dtype=bool)


def is_one_of(column: pa.Array, texts: Sequence[str]) -> Choice:
    """Say where a column of texts tells one of these."""
    return is_among(column.dictionary, codes_of(column), texts)


def is_among(names: pa.Array, codes: Numbers, texts: Sequence[str]) -> Choice:
    """Say where a column, by its dictionary and codes, tells one of these texts."""
    named = pc.is_in(names, pa.array(texts, names.type))
    found = np.append(named.to_numpy(zero_copy_only=False).astype(bool), False)
    return np.asarray(found[codes])


def is_true(column: pa.Array) -> Choice:
    """Say where a column of yes and no says yes."""
    return np.asarray(pc.fill_null(column, False).to_numpy(zero_copy_only=False), dtype=bool)


def micros_of(column: pa.Array) -> Numbers:
    """Give instants, all told, in microseconds since 1970."""
    return np.asarray(column.cast(pa.int64()).to_numpy())


def millionths_of(column: pa.Array) -> Numbers:
    """Give figures, all told, in millionths: decimal(18, 6) never needs more than 64 bits."""
    words = np.frombuffer(column.buffers()[1], np.int64)
    start = 2 * column.offset
    return np.asarray(words[start : start + 2 * len(column) : 2])


def figures(millionths: Numbers, known: Choice, kind: pa.DataType) -> pa.Array:
    """Give figures of a decimal type as they were before `millionths_of`; null where not known."""
    words = np.empty((len(millionths), 2), np.int64)
    words[:, 0], words[:, 1] = millionths, millionths >> 63
    valid = pa.array(known, pa.bool_()).buffers()[1]
    return pa.Array.from_buffers(kind, len(millionths), [valid, pa.py_buffer(words)])


def key_of(*parts: Numbers) -> Numbers:
    """Give one number for each row, in the order of its parts: the same for the same parts.

    Parts are codes, NONE among them.
    """
    if not len(parts[0]):
        return np.zeros(0, np.int64)
    key, size = np.zeros(len(parts[0]), np.int64), 1
    for part in parts:
        count = int(part.max()) + 2
        if size * count >= 1 << 62:
            # Numbered anew, so that the next part still finds room.
            held, key = np.unique(key, return_inverse=True)
            size = len(held)
        key, size = key * count + (part + 1), size * count
    return key


def in_time(at: Numbers, seq: Numbers) -> Numbers:
    """Give places of rows by time, then seq (0 or more, below 2**40)."""
    order = np.argsort(at)
    ordered = at[order]
    is_same = ordered[1:] == ordered[:-1]
    if is_same.any():
        # Those of one instant are side by side already: among themselves they go by seq.
        tied = np.flatnonzero(np.append(is_same, False) | np.append(False, is_same))
        rows, instant = order[tied], np.cumsum(np.append(True, ~is_same))[tied]
        order[tied] = rows[np.argsort((instant << 40) | seq[rows])]
    return np.asarray(order)


def place_of(order: Numbers) -> Numbers:
    """Give each row's place in an order."""
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    return place


def by_key(key: Numbers, place: Numbers) -> tuple[Numbers, Numbers]:
    """Sort rows by key (0 or more), then by their places in an order of all rows.

    Gives keys, perhaps numbered anew in the same order, and places.
    """
    # One sort of single numbers, which a processor does many at a time.
    bits = max(int(place.max(initial=0)).bit_length(), 1)
    if key.max(initial=0) >= 1 << (63 - bits):
        key = np.unique(key, return_inverse=True)[1]
    both = np.sort((key << bits) | place)
    return both >> bits, both & ((1 << bits) - 1)


def latest(key: Numbers, at: Numbers, seq: Numbers) -> Numbers:
    """Give the last row of each key (0 or more) by time, then seq, in order of the keys.

    The greatest of each key is found without putting the others in order.
    """
    keys, rows = by_key(key, np.arange(len(key)))
    if not len(keys):
        return rows
    for told in (at, seq):
        is_first = np.append(True, keys[1:] != keys[:-1])
        starts = np.flatnonzero(is_first)
        if len(starts) == len(keys):
            return rows
        values = told[rows]
        greatest = np.maximum.reduceat(values, starts)
        is_last = values == np.repeat(greatest, np.diff(starts, append=len(keys)))
        keys, rows = keys[is_last], rows[is_last]
    # Rows that are told twice are the same.
    return np.asarray(rows[np.append(True, keys[1:] != keys[:-1])])


def later(at: Numbers, seq: Numbers, than_at: Numbers, than_seq: Numbers) -> Choice:
    """Say where the first is later than the second, by time and seq."""
    return np.asarray((at > than_at) | ((at == than_at) & (seq > than_seq)))


def found_in(keys: Numbers, wanted: Numbers) -> tuple[Numbers, Choice]:
    """Give for each wanted key its place among keys that are sorted, and whether it is there."""
    if not len(keys):
        return np.zeros(len(wanted), np.int64), np.zeros(len(wanted), bool)
    place = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    return place, keys[place] == wanted
