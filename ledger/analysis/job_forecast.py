"""The minutes of a planned job, by simulation, and the price that covers them at a risk."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from ledger.analysis.job_cells import places
from ledger.analysis.job_columns import FACTORS, OF_JOB
from ledger.analysis.job_fit import JobTimes
from ledger.analysis.job_likelihood import SPREADS
from ledger.analysis.life_bounds import FloatArray, refuse_draws, share_between
from ledger.analysis.unfit import CannotFit

DRAWS = 20_000
JOB, ROW = SPREADS.index("job"), SPREADS.index("row")
OF_BIKE = ("bike_kind", "age_class")


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
    """How many times the shop did each planned task, with minutes planned for it or not."""
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

    def chance_price_short(self, price_minor: int, rate_minor_per_hour: int | Fraction) -> float:
        """Give the chance that the job's minutes at a rate an hour come to more than a price."""
        return self.chance_over(float(Fraction(60 * price_minor) / Fraction(rate_minor_per_hour)))


def forecast(fitted: JobTimes, plan: Plan, *, draws: int = DRAWS, seed: int = 0) -> Forecast:
    """Give the minutes of a plan: task by task, with what the tasks of one job have in common.

    The uncertainty of the model's own figures is in the draws. Raises `CannotFit` for a plan
    without tasks, planned minutes that are not above 0, and a task without minutes that was
    never done and that no terms tell.
    """
    _check(plan)
    refuse_draws(draws, seed)
    drawing = _Drawing(fitted, draws, seed)
    whole = drawing.job_part(plan)
    bike = drawing.bike_part(plan)
    total = np.zeros(draws)
    for task in plan.tasks:
        if task.minutes is None:
            total += drawing.usual(task.task, bike)
        else:
            total += task.minutes * np.exp(whole + drawing.task_part(task.task))
    return Forecast(
        plan=replace(plan, tasks=tuple(_filled(fitted, task) for task in plan.tasks)),
        draws=np.sort(total),
        count_jobs=fitted.count_jobs,
        count_alike=_count_alike(fitted, plan),
        count_of_task={task.task: fitted.usual.count(task.task) for task in plan.tasks},
        usual_tasks=tuple(task.task for task in plan.tasks if task.minutes is None),
    )


def price_at_risk(seen: Forecast, rate_minor_per_hour: int | Fraction, risk: float = 0.2) -> int:
    """Give the labour price (minor units, rounded up) that is not enough with chance `risk`."""
    share_between(risk, "risk")
    return math.ceil(Fraction(seen.quantile(1 - risk)) * Fraction(rate_minor_per_hour) / 60)


class _Drawing:
    """One set of draws of everything unsure, and the levels of one plan among them."""

    def __init__(self, fitted: JobTimes, draws: int, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.fitted = fitted
        self.draws = draws
        self.effects = fitted.draw_effects(draws, self.rng)
        self.spreads = fitted.draw_spreads(draws, self.rng)
        self.own = self.spreads[:, JOB] * self.rng.standard_normal(draws)
        self.begins = places(fitted.levels)

    def level(self, factor: str, level: str | None) -> FloatArray:
        """Give a factor's part (draws,): of a level, any level, or one never seen."""
        begin, names = self.begins[factor], self.fitted.levels[factor]
        weights = self.fitted.weights[begin : begin + len(names)]
        if level in names and level is not None:
            return self.effects[:, begin + names.index(level)]
        if level is None and weights.sum() > 0:
            chosen = self.rng.choice(len(names), self.draws, p=weights / weights.sum())
            return np.asarray(self.effects[np.arange(self.draws), begin + chosen])
        spread = self.spreads[:, SPREADS.index(factor)]
        return np.asarray(spread * self.rng.standard_normal(self.draws))

    def job_part(self, plan: Plan) -> FloatArray:
        """Give what all tasks with planned minutes have in common, the mean with it."""
        parts = [self.level(name, getattr(plan, name)) for name in OF_JOB]
        return np.asarray(self.effects[:, 0] + sum(parts) + self.own)

    def bike_part(self, plan: Plan) -> FloatArray:
        """Give what this kind and age of bike adds to what a task usually takes."""
        total = self.own.copy()
        for name in OF_BIKE:
            if getattr(plan, name) is not None:
                begin, count = self.begins[name], len(self.fitted.levels[name])
                part = slice(begin, begin + count)
                usual = self.effects[:, part] @ self.fitted.weights[part]
                total += self.level(name, getattr(plan, name)) - usual
        return total

    def task_part(self, task: str) -> FloatArray:
        """Give what one task adds, and how far it goes its own way this time."""
        noise = self.spreads[:, ROW] * self.rng.standard_normal(self.draws)
        return np.asarray(self.level(FACTORS[-1], task) + noise)

    def usual(self, task: str, bike: FloatArray) -> FloatArray:
        """Give the minutes (draws,) of a task nobody planned."""
        usual = self.fitted.usual.of(task)
        own = max(usual.log_spread**2 - self.fitted.spread("job") ** 2, 0.0) + usual.log_error**2
        noise = np.sqrt(own) * self.rng.standard_normal(self.draws)
        return np.asarray(np.exp(usual.log_median + bike + noise))


def _check(plan: Plan) -> None:
    if not plan.tasks:
        raise CannotFit("plan", "tasks", "there is none", "Give one task or more")
    for task in plan.tasks:
        if task.minutes is not None and not 0 < task.minutes < math.inf:
            wrong = f"{task.task} has {task.minutes}"
            raise CannotFit("plan", "minutes", wrong, "Give minutes above 0")


def _filled(fitted: JobTimes, task: PlannedTask) -> PlannedTask:
    if task.minutes is not None:
        return task
    return PlannedTask(task.task, fitted.usual_minutes(task.task))


def _count_alike(fitted: JobTimes, plan: Plan) -> int:
    alike = fitted.sums.alike
    for axis, name in enumerate(OF_JOB):
        level, names = getattr(plan, name), fitted.levels[name]
        if level is not None:
            chosen = [names.index(level)] if level in names else []
            alike = np.take(alike, chosen, axis=axis)
    return int(alike.sum())
