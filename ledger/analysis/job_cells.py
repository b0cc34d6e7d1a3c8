"""The tasks of all jobs counted by cells, so that sums over millions of rows are quick."""

from __future__ import annotations

import numpy as np

from ledger.analysis.job_columns import FACTORS, OF_JOB, Worked
from ledger.analysis.life_bounds import FloatArray
from ledger.analysis.rounding import IntArray

MOST_TASKS = 24
"""Of a job with more tasks with planned minutes, the first so many count."""


def places(levels: dict[str, tuple[str | None, ...]]) -> dict[str, int]:
    """Give where each factor's levels begin among the p effects; the mean is at 0."""
    sizes = [len(levels[name]) for name in FACTORS]
    begins = np.cumsum([1, *sizes])[:-1]
    return {name: int(begin) for name, begin in zip(FACTORS, begins, strict=True)}


def place_in_job(job: IntArray) -> IntArray:
    """Give how many rows of the same job stand before each."""
    order = np.argsort(job, kind="stable")
    place = np.empty(len(job), dtype=np.int64)
    place[order] = np.arange(len(job)) - np.searchsorted(job[order], job[order])
    return place


class Cells:
    """The tasks with planned minutes, counted by size of job, levels of the job, and task.

    A cell is one level of every factor of the job, so that sums over millions of rows become
    sums over a few hundred cells.
    """

    def __init__(self, work: Worked, job: IntArray, task: IntArray) -> None:
        self.levels, self.job, self.task = work.levels, job, task
        self.count_jobs, self.count_tasks = work.count_jobs, len(work.levels["task"])
        self.shape = tuple(len(work.levels[name]) for name in OF_JOB)
        self.count = int(np.prod(self.shape))
        self.size = np.bincount(job, minlength=work.count_jobs)
        place = np.zeros(work.count_jobs, dtype=np.int64)
        for name in OF_JOB:
            place = place * len(work.levels[name]) + work.codes[name]
        self.place = self.size * self.count + place
        has = self.place[self.size > 0]
        self.jobs = np.zeros((MOST_TASKS + 1, self.count))
        self.jobs += np.bincount(has, minlength=self.jobs.size).reshape(self.jobs.shape)
        of_row = self.place[job] * self.count_tasks + task
        self.rows = self._by_cell(of_row, None)
        self.of_row = of_row
        self.begin = places(work.levels)["task"]
        self.x = self._design()

    def _by_cell(self, of_row: IntArray, weights: FloatArray | None) -> FloatArray:
        """Give counts or sums (sizes, cells, tasks) of the rows."""
        shape = (MOST_TASKS + 1, self.count, self.count_tasks)
        summed = np.bincount(of_row, weights=weights, minlength=int(np.prod(shape)))
        return np.asarray(summed, dtype=np.float64).reshape(shape)

    def _design(self) -> FloatArray:
        """Give the design (cells, effects but the tasks') of the mean and the job's levels."""
        x = np.zeros((self.count, self.begin))
        x[:, 0] = 1.0
        begins, cells = places(self.levels), np.arange(self.count)
        levels = np.unravel_index(cells, self.shape) if self.count else [cells] * len(OF_JOB)
        for name, level in zip(OF_JOB, levels, strict=True):
            x[cells, begins[name] + level] = 1.0
        return x

    def over_rows(self, y: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Give sum x x' (p, p) and sum x y (p,) over rows."""
        rows = self.rows.sum(axis=0)
        y_rows = self._by_cell(self.of_row, y).sum(axis=0)
        gram = self._gram(rows.sum(axis=1), rows, np.diag(rows.sum(axis=0)))
        return gram, np.concatenate([self.x.T @ y_rows.sum(axis=1), y_rows.sum(axis=0)])

    def over_jobs(self, y: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Give sum s s', sum s y and sum y y over jobs by their size, y the job's sum."""
        p = self.begin + self.count_tasks
        gram, pull = np.zeros((MOST_TASKS + 1, p, p)), np.zeros((MOST_TASKS + 1, p))
        total = np.bincount(self.job, weights=y, minlength=self.count_jobs).astype(np.float64)
        y_jobs = np.bincount(self.place, weights=total, minlength=self.jobs.size)
        y_jobs = y_jobs.reshape(self.jobs.shape)
        y_tasks = self._by_cell(self.of_row, total[self.job]).sum(axis=1)
        square = np.bincount(self.size, weights=total**2, minlength=MOST_TASKS + 1)
        for number in np.flatnonzero(self.jobs.sum(axis=1)):
            rows, count = self.rows[number], number**2 * self.jobs[number]
            gram[number] = self._gram(count, number * rows, self._pairs(int(number)))
            own = number * (self.x.T @ y_jobs[number])
            pull[number] = np.concatenate([own, y_tasks[number]])
        return gram, pull, square.astype(np.float64)

    def _gram(self, count: FloatArray, cross: FloatArray, tasks: FloatArray) -> FloatArray:
        """Put together a gram (p, p): of the job's levels, of them and tasks, of tasks."""
        beside = self.x.T @ cross
        top = np.concatenate([(self.x * count[:, None]).T @ self.x, beside], axis=1)
        return np.concatenate([top, np.concatenate([beside.T, tasks], axis=1)])

    def _pairs(self, number: int) -> FloatArray:
        """Give how often two tasks (tasks, tasks) are in one job, over jobs of a size."""
        if number == 1:
            return np.diag(self.rows[1].sum(axis=0))
        of = np.flatnonzero(self.size == number)
        place = np.zeros(self.count_jobs, dtype=np.int64)
        place[of] = np.arange(len(of))
        rows = np.flatnonzero(self.size[self.job] == number)
        at = place[self.job[rows]] * self.count_tasks + self.task[rows]
        counted = np.bincount(at, minlength=len(of) * self.count_tasks)
        each = counted.reshape(len(of), self.count_tasks).astype(np.float64)
        return np.asarray(each.T @ each)
