"""The model of minutes: log(actual / planned) by tier, task, kind of bike, age, and the job.

log(actual / planned) = mean + tier + kind of bike + age + task + the job's own + the task's own.
Each effect is Normal about 0 with a spread of its own, so that what the shop has seen few times
is drawn to what is usual (partial pooling).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ledger.analysis.job_columns import Worked
from ledger.analysis.job_sums import JobSums
from ledger.analysis.life_bounds import FloatArray


@dataclass(frozen=True, slots=True)
class Drift:
    """Actual over planned minutes in the middle: 1.1 is a tenth more than planned."""

    ratio: float
    low: float
    high: float
    level: float


@dataclass(frozen=True, slots=True, eq=False)
class JobTimes:
    """The fitted model."""

    levels: dict[str, tuple[str | None, ...]]
    effects: FloatArray
    """(p,) the mean, then every level of every factor in the order of `FACTORS`."""
    covariance: FloatArray
    """(p, p) of the effects, the spreads taken as known."""
    log_spreads: FloatArray
    """(6,) logarithms of the standard deviations: of the factors, the job, the task in a job."""
    log_spreads_covariance: FloatArray
    """(6, 6)"""
    sums: JobSums

    def drift(
        self,
        *,
        tier: str | None = None,
        bike_kind: str | None = None,
        age_class: str | None = None,
        task: str | None = None,
        level: float = 0.8,
    ) -> Drift:
        """Give actual over planned in the middle; what is None is averaged over what was seen."""
        raise NotImplementedError

    def job_share(self, level: float = 0.8) -> Drift:
        """Give the share of the unexplained variance that the tasks of one job have in common."""
        raise NotImplementedError

    def usual_minutes(self, task: str) -> float:
        """Give what a task usually takes: the shop's median, drawn to what its terms tell."""
        raise NotImplementedError


def fit(work: Worked, told_minutes: Mapping[str, float] | None = None) -> JobTimes:
    """Fit the model to what was worked; `told_minutes` are a task's minutes in the terms."""
    raise NotImplementedError


def fit_sums(sums: JobSums, told_minutes: Mapping[str, float] | None = None) -> JobTimes:
    """Fit the model to sums, which may be kept and added."""
    raise NotImplementedError
