"""What a task usually takes, where nobody planned its minutes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ledger.analysis.life_bounds import FloatArray
from ledger.analysis.rounding import IntArray
from ledger.analysis.unfit import CannotFit

WEIGHT = 4.0
"""What is usual elsewhere counts as so many times of doing the task."""
SPREAD = 0.4
"""Standard deviation of log minutes of one task, before any was done."""
QUARTILES = 1.349
"""A Normal's quartiles are so many standard deviations apart."""
MEDIAN_ERROR = 1.2533
"""A median's standard error over that of a mean, of many Normal figures."""


@dataclass(frozen=True, slots=True)
class Usual:
    """One task: log minutes are about Normal."""

    log_median: float
    log_error: float
    """How unsure the median is."""
    log_spread: float
    """How much one time differs from another."""
    count: int


@dataclass(frozen=True, slots=True)
class UsualMinutes:
    """Every task that was done or that terms tell."""

    by_task: dict[str, Usual]

    def of(self, task: str) -> Usual:
        """Give one task; raises `CannotFit` where it was never done and no terms tell it."""
        if task not in self.by_task:
            wrong = f"{task!r} was never done and has no minutes"
            raise CannotFit("plan", "task", wrong, "Give the minutes planned for it")
        return self.by_task[task]

    def count(self, task: str) -> int:
        """Give how many times a task was done."""
        return self.by_task[task].count if task in self.by_task else 0

    def minutes(self, task: str) -> float:
        """Give the median minutes."""
        return float(np.exp(self.of(task).log_median))


def usual_of(
    tasks: tuple[str | None, ...], minutes: IntArray, told: Mapping[str, float]
) -> UsualMinutes:
    """Give what each task takes, from how often it took so many minutes: (tasks, minutes).

    The shop's median (of logarithms) is drawn to the minutes told, where they are told, by
    `WEIGHT`; the spread is drawn to that of all tasks.
    """
    seen = {task: row for task, row in zip(tasks, minutes, strict=True) if task and row.sum()}
    spreads = {task: _spread(row) for task, row in seen.items()}
    total = sum(int(row.sum()) for row in seen.values())
    shared = sum(int(row.sum()) * spreads[task] ** 2 for task, row in seen.items())
    common = (shared + WEIGHT * SPREAD**2) / (total + WEIGHT)
    found = {}
    for task in {**seen, **told}:
        row = seen.get(task)
        found[task] = _usual(row, told.get(task), spreads.get(task, 0.0) ** 2, common)
    return UsualMinutes(found)


def _usual(row: IntArray | None, told: float | None, variance: float, common: float) -> Usual:
    count = 0 if row is None else int(row.sum())
    pooled = (count * variance + WEIGHT * common) / (count + WEIGHT)
    median = 0.0 if row is None else float(np.log(_quantile(row, 0.5)))
    weight = WEIGHT if told else 0.0
    middle = (count * median + weight * np.log(told or 1.0)) / (count + weight)
    error = MEDIAN_ERROR * np.sqrt(pooled / (count + weight))
    return Usual(float(middle), float(error), float(np.sqrt(pooled)), count)


def _spread(row: IntArray) -> float:
    apart = np.log(_quantile(row, 0.75) / _quantile(row, 0.25))
    return float(apart / QUARTILES)


def _quantile(row: IntArray, share: float) -> float:
    """Give a quantile of whole minutes by their counts, between the two in the middle."""
    reached: FloatArray = np.cumsum(row) / row.sum()
    low = int(np.searchsorted(reached, share - 1e-12))
    high = int(np.searchsorted(reached, share + 1e-12))
    return max((low + high) / 2, 0.5)
