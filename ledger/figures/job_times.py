"""What jobs took, task by task, as the model of minutes reads it."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.job_columns import Worked, worked
from ledger.figures.columns import Columns
from ledger.figures.fault_arrays import Integers, flags
from ledger.figures.job_tables import JobTables

OLD, YOUNG, MIDDLE = "unknown history", "used under 2 years", "used 2 years or more"
"""Classes of age: a bike of which nobody knows since when it is used, and others by the years."""
MIDDLE_DAYS = 730
MOST_JOBS = 100_000
"""Closed jobs that minutes are foretold from, the newest."""


def age_class(is_old: bool | None, days: float | None) -> str | None:
    """Give the class of age of a bike; None where nothing is told."""
    if is_old:
        return OLD
    if days is None:
        return None
    return YOUNG if days < MIDDLE_DAYS else MIDDLE


def work_of(tables: JobTables, most: int = MOST_JOBS) -> Worked:
    """Give the closed jobs of a ledger with the minutes of each task, of the kind quoted.

    Of more than `most` the newest, whole days of closing: what was long ago tells no more.

    Where a job's tier was quoted with no tasks told, all that was worked on it is one task, the
    tier's own code. What was worked and not quoted, or cannot be told from the tier's own, has no
    planned minutes.
    """
    jobs, told = tables.jobs, tables.tasks
    first = _first_day(jobs, most)
    closed = Columns(jobs, _closed_from(jobs, first))
    tasks = Columns(told, _closed_from(told, first))
    is_named = flags(pc.is_valid(tasks.taken("task"))) & ~tasks.flags("is_unsplit")
    split = tasks.kept(is_named & (tasks["minutes_quoted"] > 0))
    planned = np.where(split.flags("is_comparable"), split["quoted_minutes"], 0)
    row_of_job = tables.row_of_job
    whole, row_of_whole = _unsplit(closed, tasks, row_of_job)
    rows = np.concatenate([_rows(closed, split, row_of_job), row_of_whole])
    return worked(
        tier=closed.taken("tier"),
        bike_kind=closed.taken("bike_kind"),
        age_class=_ages(closed),
        job=rows,
        task=pa.concat_arrays([split.taken("task"), whole.taken("tier")]),
        actual_minutes=np.concatenate([split["minutes_quoted"], whole["minutes_quoted"]]),
        planned_minutes=np.concatenate([planned, whole["quoted_minutes"]]),
        closed_at=closed["closed_day"],
    )


def _first_day(jobs: pa.Table, most: int) -> int:
    """Give the day of closing from which on there are at most so many jobs, or that day's more."""
    days = np.asarray(jobs["closed_day"].drop_null().to_numpy(), dtype=np.int64)
    if len(days) <= most:
        return int(days.min(initial=0))
    return int(np.partition(days, len(days) - most)[len(days) - most])


def _closed_from(table: pa.Table, first: int) -> Integers:
    """Give the rows of what was closed on a day or later."""
    return np.flatnonzero(flags(pc.greater_equal(table["closed_day"], first)))


def _unsplit(closed: Columns, tasks: Columns, row_of_job: Integers) -> tuple[Columns, Integers]:
    """Give the jobs quoted with a tier whose tasks are not told, and their rows."""
    unsplit = tasks.kept(tasks.flags("is_unsplit"))
    there = np.unique(_rows(closed, unsplit, row_of_job))
    there = there[closed["minutes_quoted"][there] > 0]
    has_tier = flags(pc.is_valid(closed.taken("tier")))[there]
    rows = there[has_tier]
    return Columns(closed.table, closed.rows[rows]), rows


def _rows(closed: Columns, tasks: Columns, row_of_job: Integers) -> Integers:
    """Give the row of each task's job."""
    place = np.full(len(closed.table), -1, dtype=np.int64)
    place[closed.rows] = np.arange(len(closed))
    return place[row_of_job[tasks.rows]]


def _ages(closed: Columns) -> pa.Array:
    is_old, days = closed.flags("is_old"), closed["known_days"]
    code = np.where(is_old, 0, np.where(days < MIDDLE_DAYS, 1, 2))
    return pa.array([OLD, YOUNG, MIDDLE]).take(pa.array(code))
