"""Bikes found by their tags in great tables, without a look at every text."""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from ledger.engines.every.columns import Choice, Numbers, found_in, tag_numbers


def places(
    tags: pa.Array | pa.ChunkedArray, among: pa.Array | pa.ChunkedArray
) -> tuple[Numbers, Choice]:
    """Give where each tag is, or would be, among others (each once, sorted), and whether it is."""
    found, known = tag_numbers(tags), tag_numbers(among)
    return np.searchsorted(known, found), found_in(known, found)[1]


def rows_of(tags: pa.Array | pa.ChunkedArray, among: pa.Array | pa.ChunkedArray) -> pa.Array:
    """Give the place of each tag among others, each once in whatever order; null where it is not.

    What is given is as good an index as any of Arrow's own.
    """
    known = tag_numbers(among)
    order = np.argsort(known, kind="stable")
    place, is_there = found_in(known[order], tag_numbers(tags))
    return pa.array(np.append(order, 0)[place], mask=~is_there)
