"""Histories of recurrent events: units watched from a start to an end, and what happened to them.

A unit is anything events happen to again and again: a bike, a part, a job. Times are ages in one
unit of measure (days, km), counted from one origin for all units.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ledger.analysis.life_bounds import (
    BadLives,
    BoolArray,
    Column,
    FloatArray,
    figures,
    in_short,
    refuse,
    refuse_dates,
    refuse_no_column,
    same_length,
)

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Histories:
    """Checked histories: `start` and `end` one figure a unit, `unit` and `time` one an event."""

    unit: IntArray
    """Of each event: the row of its unit in `start` and `end`. The order of rows is as given."""
    time: FloatArray
    start: FloatArray
    """Watched after this age; a unit watched from 0 is watched at 0 itself too."""
    end: FloatArray
    """Watched up to this age, and at it."""
    is_ended_by_event: BoolArray
    """Watching stopped because of the unit's last event, so that `end` is that event's age."""

    @property
    def count_of_unit(self) -> IntArray:
        """How many events each unit had."""
        return np.bincount(self.unit, minlength=len(self.end)).astype(np.int64)

    def without_closing_events(self) -> Histories:
        """Leave out the event that ended its unit's watching: its age is no chance."""
        if not self.is_ended_by_event.any():
            return self
        closing = np.flatnonzero(self.is_ended_by_event[self.unit])
        closing = closing[self.time[closing] == self.end[self.unit[closing]]]
        _, first = np.unique(self.unit[closing], return_index=True)  # one of those at one age
        is_kept = np.ones(len(self.time), dtype=np.bool_)
        is_kept[closing[first]] = False
        unit, time = self.unit[is_kept], self.time[is_kept]
        return Histories(unit, time, self.start, self.end, self.is_ended_by_event)


def histories(
    unit_of_event: Column,
    time_of_event: Column,
    end: Column,
    *,
    unit: Column | None = None,
    start: Column | None = None,
    may_end_by_event: bool = False,
) -> Histories:
    """Check histories given as plain columns: lists, numpy arrays or Arrow columns, in any order.

    `unit_of_event` and `time_of_event` have one row an event; `end`, `start` and `unit` (the
    names) one row a unit. Without `unit`, units are named by their row: 0, 1, 2 … . Watched at
    age t are units with start < t <= end; without `start`, and where it is 0, from 0 itself on.
    So an event exactly at its unit's end counts, one exactly at a start above 0 does not, and is
    refused. With `may_end_by_event` an end may be None or NaN: the unit's last event ended it.
    Raises `BadLives` naming the first bad row of a column, counted from 0: a time or end that is
    no finite figure from 0 on, an end not after its start (or before 0), an event outside its
    unit's watching or of a unit not named, a unit named twice, an end left open with no event.
    """
    time = ages(time_of_event, "time_of_event")
    ends = _ends(end, may_end_by_event)
    starts = np.zeros(len(ends)) if start is None else ages(start, "start")
    same_length(ends, {"start": starts})
    place = _places(unit_of_event, unit, len(ends))
    same_length(time, {"unit_of_event": place.astype(np.float64)})
    ends, is_open = _close(ends, place, time)
    refuse(ends < starts, "end", "it is before its unit's start", "Give the age watching stopped")
    is_empty = (ends == starts) & (starts > 0)
    refuse(is_empty, "end", "it is its unit's start: never watched", "Leave the unit out")
    late = time > ends[place]
    refuse(late, "time_of_event", "it is after its unit's end", "Give an end at or after it")
    early = (time <= starts[place]) & (starts[place] > 0)
    right = "Leave it out, or give an earlier start"
    refuse(early, "time_of_event", "it is not after its unit's start", right)
    return Histories(place, time, starts, ends, is_open)


def histories_of(
    units: Mapping[object, tuple[Column, float | None]] | Sequence[tuple[Column, float | None]],
    *,
    may_end_by_event: bool = False,
) -> Histories:
    """Check histories given unit by unit: (times of its events, end), as most tables print them.

    `{"251": ([], 761), "327": ([98], 667)}` or the same as a list. Errors as in `histories`;
    rows are counted through all units in the order given.
    """
    pairs = _pairs(units)
    times = [figures(events, "times") for events, _ in pairs]
    unit = np.repeat(np.arange(len(pairs)), [len(events) for events in times])
    time = np.concatenate([np.empty(0), *times])
    return histories(unit, time, [end for _, end in pairs], may_end_by_event=may_end_by_event)


def _pairs(units: Any) -> list[tuple[Column, float | None]]:
    refuse_no_column(units, "units")
    pairs = list(units.values()) if isinstance(units, Mapping) else list(units)
    for row, pair in enumerate(pairs):
        if not isinstance(pair, tuple | list) or len(pair) != 2:
            right = "Give (the ages of its events, its end)"
            raise BadLives(f"row {row}", "units", f"it is {in_short(pair)}, no pair", right)
    return pairs


def watched_units(
    time_of_event: Column,
    end: Column | float | None,
    unit_of_event: Column | None,
    unit: Column | None,
    start: Column | float | None,
) -> Histories:
    """Check the histories of one unit, or of several, each of which may be ended by its last event.

    For one unit, without `unit_of_event`, `end` and `start` are figures, and `end` None where its
    last event ended the watching (failure-truncated). For several they have a row a unit, as in
    `histories`, an end None or NaN for a unit ended by its last event. Errors as there.
    """
    time = ages(time_of_event, "time_of_event")
    if unit_of_event is None:
        unit_of_event, end = np.zeros(len(time), dtype=np.int64), [end]
        start = None if start is None else [start]
    ends = [] if end is None else end
    return histories(unit_of_event, time, ends, unit=unit, start=start, may_end_by_event=True)


def at_risk_at(of: Histories, ages: FloatArray) -> FloatArray:
    """Give how many units are watched at each age."""
    late = len(of.start) - len_at_least(np.sort(of.start), ages)
    is_at_zero = (ages == 0) * float(np.count_nonzero(of.start == 0))
    gone = len(of.end) - len_at_least(np.sort(of.end), ages)
    watched: FloatArray = late + is_at_zero - gone
    return watched


def len_at_least(rising: FloatArray, ages: FloatArray) -> FloatArray:
    """Give how many of the sorted figures are not below each age."""
    count: FloatArray = len(rising) - np.searchsorted(rising, ages).astype(np.float64)
    return count


def ages(column: Column, field: str) -> FloatArray:
    """Give a column as ages; `BadLives` names the first row that is no finite figure from 0 on."""
    age = numbers(column, field)
    refuse(~((age >= 0) & (age < np.inf)), field, "it is no age", "Give 0 or a finite length")
    return age


def numbers(column: Column, field: str) -> FloatArray:
    """Give a column as floats; errors as in `figures`, which reads anything but arrays slowly."""
    if not hasattr(column, "__len__") or isinstance(column, str):
        raise BadLives("column", field, f"it is {column!r}, no column", "Give one figure a row")
    kind = getattr(getattr(column, "dtype", None), "kind", None)
    if not isinstance(column, np.ndarray) or column.ndim != 1 or kind not in ("i", "u", "f"):
        return figures(column, field)
    floats: FloatArray = column.astype(np.float64, copy=False)
    refuse(np.isnan(floats), field, "it is not a number", "Give a number, or leave the row out")
    return floats


def codes(column: Column, field: str) -> IntArray:
    """Give each row the number of its value, alike values alike; `BadLives` for a row of none."""
    if isinstance(column, np.ndarray) and column.dtype.kind in "iu" and column.ndim == 1:
        found = _dense(column)
        if found is not None:
            return found
    names = _names(column, field)
    return np.asarray(pc.dictionary_encode(names).indices, dtype=np.int64)


def _dense(number: IntArray) -> IntArray | None:
    """Give small numbers from 0 up without their gaps; None where they are none of those."""
    if not len(number) or number.min() < 0 or number.max() > 4 * len(number):
        return None
    is_there = np.zeros(int(number.max()) + 1, dtype=np.bool_)
    is_there[number] = True
    return np.asarray((np.cumsum(is_there) - 1)[number], dtype=np.int64)


def _ends(end: Column, may_end_by_event: bool) -> FloatArray:
    """Give the ends as ages, infinite where left open."""
    if not may_end_by_event or not hasattr(end, "__len__"):
        return ages(end, "end")
    refuse_dates(end, "end")
    if isinstance(end, pa.Array | pa.ChunkedArray):
        end = np.asarray(end)  # null is NaN then
    if isinstance(end, np.ndarray) and end.ndim == 1 and end.dtype.kind in "iuf":
        filled = np.where(np.isnan(end), np.inf, end)
    else:
        values = [None if one != one else one for one in end]
        filled = figures(values, "end", missing=np.inf)
    refuse(filled < 0, "end", "it is no age", "Give 0 or a length, or None")
    return filled


def _close(ends: FloatArray, unit: IntArray, time: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Put the last event of each unit left open as its end."""
    is_open = np.isinf(ends)
    if not is_open.any():
        return ends, is_open
    last = np.full(len(ends), -np.inf)
    np.maximum.at(last, unit, time)
    wrong = "it is left open, and its unit has no event"
    refuse(is_open & np.isinf(last), "end", wrong, "Give the age watching stopped")
    return np.where(is_open, last, ends), is_open


def _places(unit_of_event: Column, unit: Column | None, count: int) -> IntArray:
    """Give the row of each event's unit."""
    if unit is None:
        return _rows(unit_of_event, count)
    names, asked = _names(unit, "unit"), _names(unit_of_event, "unit_of_event")
    same_length(np.empty(count), {"unit": np.empty(len(names))})
    first = np.asarray(pc.index_in(names, value_set=names))
    refuse(first != np.arange(count), "unit", "it was named before", "Give one row a unit")
    try:
        found = pc.index_in(asked.cast(names.type), value_set=names)
    except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
        wrong = f"its names are {asked.type}, those of unit {names.type}"
        raise BadLives("column", "unit_of_event", wrong, "Name units alike") from None
    is_unknown = np.asarray(found.is_null())
    refuse(is_unknown, "unit_of_event", "no unit has that name", "Give it a row in unit and end")
    return np.asarray(found, dtype=np.int64)


def _rows(unit_of_event: Column, count: int) -> IntArray:
    right = f"Give a row of the {count} of end, from 0, or all units' names in unit"
    try:
        row = numbers(unit_of_event, "unit_of_event")
    except BadLives as reason:
        raise BadLives(reason.where, "unit_of_event", reason.wrong, right) from None
    is_row = (row >= 0) & (row < count) & (row == np.floor(row))
    refuse(~is_row, "unit_of_event", "it is no row of end", right)
    return row.astype(np.int64)


def _names(column: Column, field: str) -> pa.Array:
    """Give names as an Arrow array of one type."""
    if isinstance(column, pa.ChunkedArray):
        names = column.combine_chunks()
    elif isinstance(column, pa.Array):
        names = column
    else:
        values = column if isinstance(column, np.ndarray) else list(column)
        try:
            names = pa.array(values)
        except (pa.ArrowInvalid, pa.ArrowTypeError):
            wrong = "its names are not all of one kind"
            raise BadLives("column", field, wrong, "Give all as text, or all as numbers") from None
    refuse(np.asarray(names.is_null()), field, "it is missing", "Give a name")
    if pa.types.is_dictionary(names.type):
        return names.cast(names.type.value_type)
    return names
