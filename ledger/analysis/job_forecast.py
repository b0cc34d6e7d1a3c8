"""The minutes of a planned job, by simulation, and the price that covers them at a risk."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from ledger.analysis.job_fit import JobTimes
from ledger.analysis.life_bounds import FloatArray, share_between

DRAWS = 20_000


@dataclass(frozen=True, slots=True)
class PlannedTask:
    """One task of a plan; minutes None takes what the shop usually needs for it."""

    task: str
    minutes: float | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """A job to foretell. What is None is not told: any of the shop's, as often as it comes."""

    tasks: tuple[PlannedTask, ...]
    tier: str | None = None
    bike_kind: str | None = None
    age_class: str | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Forecast:
    """The minutes at the bench that a planned job will take."""

    plan: Plan
    """With the minutes taken for each task filled in."""
    draws: FloatArray
    """Simulated totals, in rising order."""
    count_jobs: int
    """Jobs the model rests on."""
    count_alike: int
    """Of those, jobs alike in everything of the job that the plan tells (tier, kind, age)."""
    count_of_task: dict[str, int]
    """How many times the shop did each planned task with minutes planned for it."""
    usual_tasks: tuple[str, ...]
    """Tasks without planned minutes, foretold from what they usually take."""

    @property
    def planned_minutes(self) -> float:
        """Give the planned minutes of all tasks together."""
        return math.fsum(task.minutes or 0.0 for task in self.plan.tasks)

    def quantile(self, share: float) -> float:
        """Give the minutes that a share of such jobs stays within: 0.5 is P50, 0.8 is P80."""
        share_between(share, "share")
        return float(np.quantile(self.draws, share))

    def chance_over(self, minutes: float) -> float:
        """Give the chance that the job takes more than so many minutes."""
        within = int(np.searchsorted(self.draws, minutes, side="right"))
        return 1 - within / len(self.draws)

    def chance_price_short(self, price_minor: int, rate_minor_per_hour: int) -> float:
        """Give the chance that the job's minutes at a rate an hour come to more than a price."""
        return self.chance_over(60 * price_minor / rate_minor_per_hour)


def forecast(fitted: JobTimes, plan: Plan, *, draws: int = DRAWS, seed: int = 0) -> Forecast:
    """Give the minutes of a plan: task by task, with what the tasks of one job have in common.

    The uncertainty of the model's own figures is in the draws. Raises `CannotFit` for a plan
    without tasks and for planned minutes that are not above 0.
    """
    raise NotImplementedError


def price_at_risk(seen: Forecast, rate_minor_per_hour: int | Fraction, risk: float = 0.2) -> int:
    """Give the labour price (minor units, rounded up) that is not enough with chance `risk`."""
    share_between(risk, "risk")
    return math.ceil(Fraction(seen.quantile(1 - risk)) * Fraction(rate_minor_per_hour) / 60)
