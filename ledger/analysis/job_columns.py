"""What jobs took, as the model of minutes reads it: one row a job, and one row a task of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.histories import numbers
from ledger.analysis.life_bounds import BadLives, BoolArray, Column, FloatArray, figures, refuse
from ledger.analysis.rounding import IntArray

FACTORS = ("tier", "bike_kind", "age_class", "task")
"""What moves the minutes of a task against plan; all but the task belong to the job."""
OF_JOB = FACTORS[:3]


@dataclass(frozen=True, slots=True, eq=False)
class Worked:
    """J jobs and their N tasks: the minutes each took, and those planned for it."""

    levels: dict[str, tuple[str | None, ...]]
    """The names of each factor's levels; None where it was never recorded."""
    codes: dict[str, IntArray]
    """Which level: (J,) for those of the job, (N,) for the task."""
    job: IntArray
    """(N,) the place of the row's job, from 0."""
    actual: FloatArray
    """(N,) minutes, above 0."""
    planned: FloatArray
    """(N,) minutes above 0, NaN where none were told."""
    closed_at: FloatArray
    """(J,) any rising measure of time, such as a day number; 0 where not given."""

    @property
    def count_jobs(self) -> int:
        """Give J."""
        return len(self.closed_at)

    def kept(self, is_kept: BoolArray) -> Worked:
        """Give the marked jobs (J,) alone, with their tasks, numbered anew."""
        rows = np.flatnonzero(is_kept[self.job])
        place = np.cumsum(is_kept) - 1
        codes = {name: self.codes[name][is_kept] for name in OF_JOB}
        codes["task"] = self.codes["task"][rows]
        columns = (self.actual[rows], self.planned[rows], self.closed_at[is_kept])
        return Worked(self.levels, codes, place[self.job[rows]], *columns)

    def with_plan(self) -> Worked:
        """Give the tasks whose minutes were planned, and the jobs that have any."""
        rows = np.flatnonzero(~np.isnan(self.planned))
        codes = {**self.codes, "task": self.codes["task"][rows]}
        columns = (self.job[rows], self.actual[rows], self.planned[rows], self.closed_at)
        told = Worked(self.levels, codes, *columns)
        return told.kept(np.bincount(told.job, minlength=self.count_jobs) > 0)


def worked(
    *,
    tier: Column,
    bike_kind: Column,
    age_class: Column,
    job: IntArray,
    task: Column,
    actual_minutes: Column,
    planned_minutes: Column,
    closed_at: Column | None = None,
) -> Worked:
    """Give jobs and tasks to fit minutes to, from plain columns.

    One row a job: `tier`, `bike_kind`, `age_class` (text, None where not known) and `closed_at`
    (a number). One row a task of a job: `job` is the row of its job from 0, `task` its name, and
    the minutes of all its stretches together. Planned minutes of None, NaN or 0 were not told.
    A task that took no minutes says nothing and is left out. Raises `BadLives` for columns of
    unlike length, a job that is not there, and figures that are none.
    """
    named = {"tier": tier, "bike_kind": bike_kind, "age_class": age_class, "task": task}
    coded = {name: _coded(column, name) for name, column in named.items()}
    codes = {name: code for name, (code, _) in coded.items()}
    count = len(codes["tier"])
    rows, actual = np.asarray(job, dtype=np.int64), numbers(actual_minutes, "actual_minutes")
    planned = _planned(planned_minutes)
    closed = np.zeros(count) if closed_at is None else numbers(closed_at, "closed_at")
    _same(count, {name: len(codes[name]) for name in OF_JOB} | {"closed_at": len(closed)})
    given = {"task": codes["task"], "actual_minutes": actual, "planned_minutes": planned}
    _same(len(rows), {name: len(column) for name, column in given.items()})
    refuse((rows < 0) | (rows >= count), "job", "there is no such job", "Give its row from 0")
    refuse(~((actual >= 0) & (actual < np.inf)), "actual_minutes", "it is none", "Give minutes")
    is_in = actual > 0
    codes["task"] = codes["task"][is_in]
    levels = {name: names for name, (_, names) in coded.items()}
    return Worked(levels, codes, rows[is_in], actual[is_in], planned[is_in], closed)


def _planned(column: Column) -> FloatArray:
    """Give planned minutes as floats, NaN where they are none or 0."""
    if isinstance(column, np.ndarray) and column.dtype.kind in "iuf":
        told = np.nan_to_num(column.astype(np.float64), nan=0.0)
    elif isinstance(column, pa.Array | pa.ChunkedArray):
        filled = pc.fill_null(pc.cast(column, pa.float64()), 0.0)
        told = np.nan_to_num(np.asarray(filled, dtype=np.float64), nan=0.0)
    else:
        told = figures(column, "planned_minutes", missing=0.0)
    refuse(~((told >= 0) & (told < np.inf)), "planned_minutes", "it is none", "Give minutes")
    return np.where(told > 0, told, np.nan)


def _coded(column: Column, field: str) -> tuple[IntArray, tuple[str | None, ...]]:
    """Number alike names alike, in order of the alphabet; None has a number too, the last."""
    is_arrow = isinstance(column, pa.Array | pa.ChunkedArray)
    try:
        names = column.cast(pa.string()) if is_arrow else pa.array(list(column), pa.string())
    except (pa.ArrowInvalid, pa.ArrowTypeError, pa.ArrowNotImplementedError, TypeError):
        raise BadLives("column", field, "some of it is no name", "Give text or None") from None
    there = sorted(pc.unique(names).to_pylist(), key=lambda name: (name is None, name or ""))
    place = pc.index_in(names, value_set=pa.array(there, pa.string()))
    return np.asarray(place, dtype=np.int64), tuple(there)


def _same(count: int, lengths: dict[str, int]) -> None:
    for field, length in lengths.items():
        if length != count:
            wrong = f"it has {length} rows where the others have {count}"
            raise BadLives("column", field, wrong, "Give one figure a row")
