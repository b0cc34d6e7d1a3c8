"""All that the model of minutes needs to know of the jobs: sums, which may be added.

Within a job the tasks share one deviation, so that the inverse of its variance is that of its
rows less a share of their sum. Sums over rows, and sums over jobs by their count of tasks, are
therefore all that the likelihood asks for, however many jobs there are.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ledger.analysis.job_columns import FACTORS, OF_JOB, Worked
from ledger.analysis.life_bounds import BoolArray, FloatArray
from ledger.analysis.rounding import IntArray
from ledger.analysis.unfit import CannotFit

LARGEST_RATIO = 5.0
"""Minutes of more than this times the plan, or less than one in so many, count as just that: a
clock left running overnight says nothing of the work."""
MOST_TASKS = 24
"""Jobs with more tasks with planned minutes count as jobs of this many, by their mean."""
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


def places(levels: dict[str, tuple[str | None, ...]]) -> dict[str, int]:
    """Give where each factor's levels begin among the p effects; the mean is at 0."""
    sizes = [len(levels[name]) for name in FACTORS]
    begins = np.cumsum([1, *sizes])[:-1]
    return {name: int(begin) for name, begin in zip(FACTORS, begins, strict=True)}


def count_effects(levels: dict[str, tuple[str | None, ...]]) -> int:
    """Give p."""
    return 1 + sum(len(levels[name]) for name in FACTORS)


def sums_of(work: Worked) -> JobSums:
    """Give the sums of what was worked; a job without planned minutes adds to `minutes` alone."""
    told = ~np.isnan(work.planned)
    job, task = work.job[told], work.codes["task"][told]
    ratio = np.log(work.actual[told] / work.planned[told])
    most = np.log(LARGEST_RATIO)
    y = np.clip(ratio, -most, most)
    count = np.bincount(job, minlength=work.count_jobs)
    gram, pull = _over_rows(work, job, task, y)
    jobs, jobs_gram, jobs_pull, jobs_square = _over_jobs(work, job, task, y, count)
    return JobSums(
        levels=work.levels,
        count_rows=len(y),
        count_pulled_in=int(np.count_nonzero(np.abs(ratio) > most)),
        rows_gram=gram,
        rows_pull=pull,
        rows_square=float(y @ y),
        jobs=jobs,
        jobs_gram=jobs_gram,
        jobs_pull=jobs_pull,
        jobs_square=jobs_square,
        alike=_alike(work, count > 0),
        minutes=_minutes(work),
    )


def _cell(work: Worked) -> IntArray:
    """Number the jobs (J,) by their levels."""
    cell = np.zeros(work.count_jobs, dtype=np.int64)
    for name in OF_JOB:
        cell = cell * len(work.levels[name]) + work.codes[name]
    return cell


def _alike(work: Worked, is_in: BoolArray) -> IntArray:
    shape = [len(work.levels[name]) for name in OF_JOB]
    counted = np.bincount(_cell(work)[is_in], minlength=int(np.prod(shape)))
    return np.asarray(counted.reshape(shape), dtype=np.int64)


def _over_rows(
    work: Worked, job: IntArray, task: IntArray, y: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Give sum x x' and sum x y over rows, by way of the cells of rows with all levels alike."""
    shape = [len(work.levels[name]) for name in FACTORS]
    size = int(np.prod(shape))
    cell = _cell(work)[job] * shape[-1] + task
    count = np.bincount(cell, minlength=size).astype(np.float64)
    total = np.bincount(cell, weights=y, minlength=size)
    there = np.flatnonzero(count)
    x = np.zeros((len(there), count_effects(work.levels)))
    x[:, 0] = 1.0
    begins = places(work.levels)
    levels = np.unravel_index(there, shape) if size else [there] * len(shape)
    for name, code in zip(FACTORS, levels, strict=True):
        x[np.arange(len(there)), begins[name] + code] = 1.0
    return (x * count[there, None]).T @ x, x.T @ total[there]


def _over_jobs(
    work: Worked, job: IntArray, task: IntArray, y: FloatArray, count: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Give the sums over jobs by their count of tasks, 0 to MOST_TASKS."""
    p, begins = count_effects(work.levels), places(work.levels)
    jobs, square = np.zeros(MOST_TASKS + 1), np.zeros(MOST_TASKS + 1)
    gram, pull = np.zeros((MOST_TASKS + 1, p, p)), np.zeros((MOST_TASKS + 1, p))
    tasks = len(work.levels["task"])
    of_task = np.bincount(job * tasks + task, minlength=work.count_jobs * tasks)
    of_task = of_task.reshape(work.count_jobs, tasks)
    total = np.bincount(job, weights=y, minlength=work.count_jobs)
    size = np.minimum(count, MOST_TASKS)
    for number in np.unique(size[size > 0]):
        of = np.flatnonzero(size == number)
        s = np.zeros((len(of), p))
        s[:, 0] = number
        for name in OF_JOB:
            s[np.arange(len(of)), begins[name] + work.codes[name][of]] = number
        shrunk = number / count[of]
        s[:, begins["task"] :] = of_task[of] * shrunk[:, None]
        summed = total[of] * shrunk
        jobs[number], square[number] = len(of), summed @ summed
        gram[number], pull[number] = s.T @ s, s.T @ summed
    return jobs, gram, pull, square


def _minutes(work: Worked) -> IntArray:
    tasks = len(work.levels["task"])
    minutes = np.minimum(np.rint(work.actual), LONGEST).astype(np.int64)
    place = work.codes["task"] * (LONGEST + 1) + minutes
    counted = np.bincount(place, minlength=tasks * (LONGEST + 1))
    return np.asarray(counted.reshape(tasks, LONGEST + 1), dtype=np.int64)
