"""Tags found among others: as Arrow's own search finds them."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.events.types import TAG_ALPHABET
from ledger.figures.tags import places, rows_of

tags = st.lists(st.text(TAG_ALPHABET[:4], min_size=8, max_size=8), unique=True, max_size=12)


def column(texts: list[str], cut: int) -> pa.ChunkedArray:
    """Give texts in two chunks, the second a slice of more."""
    end = pa.array(["ZZZZZZZZ", *texts[cut:]], pa.string()).slice(1)
    return pa.chunked_array([pa.array(texts[:cut], pa.string()), end])


@settings(max_examples=200, deadline=None, derandomize=True, database=None)
@given(tags, tags, st.integers(0, 12), st.booleans())
def test_tags_are_found_where_they_are(
    asked: list[str], known: list[str], cut: int, is_sorted: bool
) -> None:
    """In whatever order, in one piece or in several; null for one that is not there."""
    known = sorted(known) if is_sorted else known
    asked = asked + known[::2]
    expected = pc.index_in(pa.array(asked, pa.string()), pa.array(known, pa.string()))
    found = rows_of(column(asked, cut), column(known, cut))
    assert found.to_pylist() == expected.to_pylist()
    where, is_there = places(pa.array(asked, pa.string()), pa.array(sorted(known), pa.string()))
    assert where.tolist() == np.searchsorted(sorted(known), asked).tolist() if known else True
    assert is_there.tolist() == [tag in known for tag in asked]


def test_what_is_no_tag_is_not_looked_for() -> None:
    """A text of another length."""
    with pytest.raises(pa.ArrowInvalid):
        rows_of(pa.array(["7K3M9QX"]), pa.array(["7K3M9QXA"]))
