"""Bikes found by their tags in great tables, without a look at every text.

A tag is eight characters of ASCII: eight bytes, a number in the order of the texts.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from ledger.figures.fault_arrays import Flags, Integers

Column = pa.Array | pa.ChunkedArray


def places(tags: Column, among: Column) -> tuple[Integers, Flags]:
    """Give where each tag is, or would be, among others (each once, sorted), and whether it is."""
    found, known = _numbers(tags), _numbers(among)
    place = np.searchsorted(known, found)
    is_there = np.zeros(len(found), np.bool_)
    inside = np.flatnonzero(place < len(known))
    is_there[inside] = known[place[inside]] == found[inside]
    return place, is_there


def rows_of(tags: Column, among: Column) -> pa.Array:
    """Give the place of each tag among others, each once in whatever order; null where it is not.

    What is given is as good an index as any of Arrow's own.
    """
    known = _numbers(among)
    if (known[1:] > known[:-1]).all():
        place, is_there = places(tags, among)
        return pa.array(place, mask=~is_there)
    order = np.argsort(known)
    place, is_there = places(tags, among.take(pa.array(order)))
    return pa.array(np.append(order, 0)[place], mask=~is_there)


def _numbers(tags: Column) -> npt.NDArray[np.uint64]:
    """Give tags as numbers; raises ArrowInvalid for a text that is no tag by its length."""
    column = tags.combine_chunks() if isinstance(tags, pa.ChunkedArray) else tags
    fixed = column.cast(pa.binary(8))
    whole = np.frombuffer(fixed.buffers()[1] or b"", ">u8")
    return whole[fixed.offset : fixed.offset + len(fixed)].astype(np.uint64)
