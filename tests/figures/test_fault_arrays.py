"""Columns as arrays: which row falls in which, against plain loops."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.figures.fault_arrays import (
    NONE,
    NULL_TIME,
    coded,
    first_of,
    keys,
    last_before,
    micros,
    pairs,
    rows_of_jobs,
)
from ledger.figures.fault_happenings import Happenings

PLACES = st.lists(st.tuples(st.integers(-1, 3), st.integers(-5, 5)), max_size=12)


def columns(rows):
    """Give pairs as two columns of whole numbers."""
    return tuple(np.array([row[place] for row in rows], dtype=np.int64) for place in (0, 1))


@given(PLACES, PLACES, st.booleans())
@settings(deadline=None)
def test_the_last_one_before_is_that_of_a_loop(known, asked, or_at):
    """Of every group and time the row of the latest time before (or at) it, NONE for none."""
    rows = last_before(*columns(known), *columns(asked), or_at=or_at)
    for row, (group, at) in zip(rows.tolist(), asked, strict=True):
        earlier = [
            when for of, when in known if of == group and (when <= at if or_at else when < at)
        ]
        if group == NONE or not earlier:
            assert row == NONE
        else:
            assert known[row] == (group, max(earlier))


def test_times_far_apart_still_come_in_order():
    """Centuries in microseconds and many groups do not overflow."""
    at = np.array([-(10**17), 0, 10**17], dtype=np.int64)
    key = keys(np.array([9_000_000, 9_000_000, 1], dtype=np.int64), at)
    assert key[2] < key[0] < key[1]


def test_names_are_numbered_by_the_alphabet():
    """Null is NONE, whatever the order in which names come."""
    found = coded(pa.chunked_array([["b", None], ["a", "b"]]))
    assert found.names == ("a", "b")
    assert found.code.tolist() == [1, NONE, 0, 1]


def test_a_column_of_nulls_has_no_names():
    """Where nothing was recorded every code is NONE."""
    found = coded(pa.chunked_array([pa.array([None, None], pa.string())]))
    assert found.names == () and found.code.tolist() == [NONE, NONE]


def test_pairs_with_a_none_are_none():
    """A pair is told apart from every other; one half unknown makes it unknown."""
    code = pairs(np.array([0, 1, NONE, 1]), np.array([2, 0, 1, NONE]))
    assert code[0] != code[1] and code[2:].tolist() == [NONE, NONE]


def test_a_missing_instant_has_a_time_of_its_own():
    """Null instants are NULL_TIME, the others microseconds since 1970."""
    column = pa.chunked_array([pa.array([1_000_000, None], pa.timestamp("us", tz="UTC"))])
    assert micros(column).tolist() == [1_000_000, NULL_TIME]


def test_jobs_of_one_name_on_two_bikes_are_told_apart():
    """A job is found by its bike and name together; an unknown one is NONE."""
    job, bike = pa.chunked_array([["j1", "j2", "j1"]]), np.array([0, 0, 1])
    asked, of = pa.chunked_array([["j1", "j1", "j2", None, "j9"]]), np.array([1, 0, 1, 0, 0])
    assert rows_of_jobs(job, bike, asked, of).tolist() == [2, 0, NONE, NONE, NONE]


def test_jobs_of_names_of_their_own_are_looked_up():
    """The plain case: every job has a name of its own."""
    job, bike = pa.chunked_array([["j1", "j2"]]), np.array([0, 1])
    asked = pa.chunked_array([["j2", None, "j1"]])
    assert rows_of_jobs(job, bike, asked, np.array([1, 0, 0])).tolist() == [1, NONE, 0]


def test_the_first_of_each_code_is_the_least_asked_for():
    """Rows not asked for, and those of no code, are passed over."""
    code, value = np.array([0, 0, 1, NONE, 0]), np.array([5, 2, 9, 1, 1])
    is_asked = np.array([True, True, False, True, False])
    assert first_of(code, 2, value, is_asked).tolist() == [1, NONE]


SPANS = st.lists(
    st.tuples(st.integers(-1, 3), st.integers(0, 9), st.integers(0, 9)), max_size=10
).map(lambda rows: [(bike, at, at + length) for bike, at, length in rows])
ASKED = st.lists(st.tuples(st.integers(0, 3), st.integers(0, 20)), max_size=10)


@given(SPANS, ASKED)
@settings(deadline=None)
def test_what_is_open_and_what_comes_next_are_those_of_a_loop(spans, asked):
    """Overlapping happenings of one bike are open until the last of them is over."""
    bike, at = columns(spans)
    ended = np.array([span[2] for span in spans], dtype=np.int64)
    of, when = columns(asked)
    happened = Happenings.of(bike, at, 4, ended)
    is_open, after = happened.is_open(of, when), happened.next_after(of, when)
    seen = happened.last_between(of, np.zeros(len(of), dtype=np.int64), when)
    for place, (asked_bike, time) in enumerate(asked):
        own = [(begun, over) for span_bike, begun, over in spans if span_bike == asked_bike]
        assert is_open[place] == any(begun <= time < over for begun, over in own)
        later = [begun for begun, _ in own if begun > time]
        assert (after[place] == NONE) == (not later)
        if later:
            assert happened.at[after[place]] == min(later)
            assert bike[happened.row[after[place]]] == asked_bike
        assert seen[place] == max([0, *(begun for begun, _ in own if begun < time)])
