"""All that the model of minutes needs to know of the jobs: sums, which may be added.

Within a job the tasks share one deviation, so that the inverse of its variance is that of its
rows less a share of their sum. Sums over rows, and sums over jobs by their count of tasks, are
therefore all that the likelihood asks for, however many jobs there are.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ledger.analysis.job_cells import MOST_TASKS, Cells, place_in_job
from ledger.analysis.job_columns import FACTORS, OF_JOB, Worked
from ledger.analysis.life_bounds import FloatArray
from ledger.analysis.rounding import IntArray
from ledger.analysis.unfit import CannotFit

LARGEST_RATIO = 5.0
"""Minutes of more than this times the plan, or less than one in so many, count as just that: a
clock left running overnight says nothing of the work."""
MOST_LOG = float(np.log(LARGEST_RATIO))
LONGEST = 1440
"""Minutes of one task in one job; more count as these."""


@dataclass(frozen=True, slots=True, eq=False)
class JobSums:
    """Sums over the tasks with planned minutes; p is 1 (the mean) and every factor's levels."""

    levels: dict[str, tuple[str | None, ...]]
    count_rows: int
    count_pulled_in: int
    """Tasks whose ratio was beyond `LARGEST_RATIO`."""
    rows_gram: FloatArray
    """(p, p) sum of x x' over rows; x is 1 for the mean and for the row's levels."""
    rows_pull: FloatArray
    """(p,) sum of x y; y is log(actual / planned)."""
    rows_square: float
    """Sum of y squared."""
    jobs: FloatArray
    """(MOST_TASKS + 1,) jobs by their count of tasks."""
    jobs_gram: FloatArray
    """(MOST_TASKS + 1, p, p) sum over jobs of s s', where s is the job's sum of x."""
    jobs_pull: FloatArray
    """(MOST_TASKS + 1, p) sum of s times the job's sum of y."""
    jobs_square: FloatArray
    """(MOST_TASKS + 1,) sum of the squared sum of y."""
    alike: IntArray
    """(tiers, kinds, ages) jobs by their levels."""
    minutes: IntArray
    """(tasks, LONGEST + 1) how often each task took so many minutes, planned or not."""

    def __add__(self, other: JobSums) -> JobSums:
        """Give the sums of both; raises `CannotFit` where their levels are not the same."""
        if self.levels != other.levels:
            raise CannotFit("sums", "levels", "they differ", "Arrange all jobs together")
        names = [field.name for field in fields(self)][1:]
        both = {name: getattr(self, name) + getattr(other, name) for name in names}
        return JobSums(levels=self.levels, **both)

    @property
    def count_jobs(self) -> int:
        """Give the jobs with a task whose minutes were planned."""
        return int(self.alike.sum())


def count_effects(levels: dict[str, tuple[str | None, ...]]) -> int:
    """Give p."""
    return 1 + sum(len(levels[name]) for name in FACTORS)


def sums_of(work: Worked) -> JobSums:
    """Give the sums of what was worked; a job without planned minutes adds to `minutes` alone."""
    job, task, ratio = _ratios(work)
    y = np.clip(ratio, -MOST_LOG, MOST_LOG)
    cells = Cells(work, job, task)
    rows_gram, rows_pull = cells.over_rows(y)
    jobs_gram, jobs_pull, jobs_square = cells.over_jobs(y)
    return JobSums(
        levels=work.levels,
        count_rows=len(y),
        count_pulled_in=int(np.count_nonzero(np.abs(ratio) > MOST_LOG)),
        rows_gram=rows_gram,
        rows_pull=rows_pull,
        rows_square=float(y @ y),
        jobs=cells.jobs.sum(axis=1),
        jobs_gram=jobs_gram,
        jobs_pull=jobs_pull,
        jobs_square=jobs_square,
        alike=_alike(work, cells.jobs),
        minutes=_minutes(work),
    )


def _ratios(work: Worked) -> tuple[IntArray, IntArray, FloatArray]:
    """Give job, task and log(actual / planned) of the tasks with planned minutes."""
    rows = np.flatnonzero(~np.isnan(work.planned))
    if len(rows) and np.bincount(work.job[rows]).max() > MOST_TASKS:
        rows = rows[place_in_job(work.job[rows]) < MOST_TASKS]
    ratio = np.log(work.actual[rows] / work.planned[rows])
    return work.job[rows], work.codes["task"][rows], ratio


def _alike(work: Worked, jobs: FloatArray) -> IntArray:
    shape = [len(work.levels[name]) for name in OF_JOB]
    return np.asarray(np.rint(jobs.sum(axis=0)).reshape(shape), dtype=np.int64)


def _minutes(work: Worked) -> IntArray:
    tasks = len(work.levels["task"])
    minutes = np.minimum(np.rint(work.actual), LONGEST).astype(np.int64)
    place = work.codes["task"] * (LONGEST + 1) + minutes
    counted = np.bincount(place, minlength=tasks * (LONGEST + 1))
    return np.asarray(counted.reshape(tasks, LONGEST + 1), dtype=np.int64)
