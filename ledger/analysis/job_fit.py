"""The model of minutes: log(actual / planned) by tier, task, kind of bike, age, and the job.

log(actual / planned) = mean + tier + kind of bike + age + task + the job's own + the task's own.
Each effect is Normal about 0 with a spread of its own, so that what the shop has seen few times
is drawn to what is usual (partial pooling).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from ledger.analysis.job_cells import places
from ledger.analysis.job_columns import FACTORS, Worked
from ledger.analysis.job_likelihood import SPREADS, Likelihood
from ledger.analysis.job_search import best_spreads
from ledger.analysis.job_sums import JobSums, count_effects, sums_of
from ledger.analysis.job_usual import UsualMinutes, usual_of
from ledger.analysis.life_bounds import FloatArray, share_between

SEED_OF_SHARE = 7
DRAWS_OF_SHARE = 4000


@dataclass(frozen=True, slots=True)
class Drift:
    """A figure with its interval; of minutes, 1.1 is a tenth more than planned."""

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
    """(6,) logarithms of the standard deviations in the order of `SPREADS`."""
    log_spreads_covariance: FloatArray
    """(6, 6)"""
    weights: FloatArray
    """(p,) the share of rows at each level."""
    usual: UsualMinutes
    sums: JobSums

    @property
    def count_jobs(self) -> int:
        """Give the jobs it rests on: those with a task whose minutes were planned."""
        return self.sums.count_jobs

    def spread(self, of: str) -> float:
        """Give the standard deviation (of a logarithm) of one of `SPREADS`."""
        return float(np.exp(self.log_spreads[SPREADS.index(of)]))

    def drift(
        self,
        *,
        tier: str | None = None,
        bike_kind: str | None = None,
        age_class: str | None = None,
        task: str | None = None,
        level: float = 0.8,
    ) -> Drift:
        """Give actual over planned in the middle; what is None is averaged over what was seen.

        A level that was never seen is taken as usual, with the spread between levels.
        """
        share_between(level, "level")
        asked = dict(zip(FACTORS, (tier, bike_kind, age_class, task), strict=True))
        of, more = self._contrast(asked)
        middle = float(of @ self.effects)
        reach = float(ndtri((1 + level) / 2) * np.sqrt(of @ self.covariance @ of + more))
        low, mean, high = np.exp([middle - reach, middle, middle + reach])
        return Drift(float(mean), float(low), float(high), level)

    def _contrast(self, asked: Mapping[str, str | None]) -> tuple[FloatArray, float]:
        of, unseen = np.zeros(len(self.effects)), 0.0
        of[0] = 1.0
        for name, begin in places(self.levels).items():
            level, names = asked[name], self.levels[name]
            if level is None:
                of[begin : begin + len(names)] = self.weights[begin : begin + len(names)]
            elif level in names:
                of[begin + names.index(level)] = 1.0
            else:
                unseen += self.spread(name) ** 2
        return of, unseen

    def job_share(self, level: float = 0.8) -> Drift:
        """Give the share of the unexplained variance that the tasks of one job have in common."""
        share_between(level, "level")
        draws = self.draw_spreads(DRAWS_OF_SHARE, np.random.default_rng(SEED_OF_SHARE))[:, -2:]
        shares = draws[:, 0] ** 2 / (draws**2).sum(axis=1)
        low, high = np.quantile(shares, [(1 - level) / 2, (1 + level) / 2])
        job, row = self.spread("job") ** 2, self.spread("row") ** 2
        return Drift(job / (job + row), float(low), float(high), level)

    def usual_minutes(self, task: str) -> float:
        """Give what a task usually takes: the shop's median, drawn to what its terms tell."""
        return self.usual.minutes(task)

    def draw_spreads(self, draws: int, rng: np.random.Generator) -> FloatArray:
        """Give spreads (draws, 6) as likely as the minutes leave them."""
        root = np.linalg.cholesky(self.log_spreads_covariance)
        moved = rng.standard_normal((draws, len(SPREADS))) @ root.T
        return np.asarray(np.exp(self.log_spreads + moved))

    def draw_effects(self, draws: int, rng: np.random.Generator) -> FloatArray:
        """Give effects (draws, p) as likely as the minutes leave them."""
        root = np.linalg.cholesky(self.covariance)
        moved = rng.standard_normal((draws, len(self.effects))) @ root.T
        return np.asarray(self.effects + moved)


def fit(work: Worked, told_minutes: Mapping[str, float] | None = None) -> JobTimes:
    """Fit the model to what was worked; `told_minutes` are a task's minutes in the terms."""
    return fit_sums(sums_of(work), told_minutes)


def fit_sums(
    sums: JobSums,
    told_minutes: Mapping[str, float] | None = None,
    *,
    start: FloatArray | None = None,
) -> JobTimes:
    """Fit the model to sums, which may be kept and added; `start` (6,) log spreads near the fit.

    With no job at all, what comes out is what is likely before any: as planned, and unsure.
    """
    likelihood = Likelihood(sums)
    log_spreads, spread_covariance = best_spreads(likelihood, start)
    found = likelihood.effects(np.exp(log_spreads))
    weights = np.zeros(count_effects(sums.levels))
    weights += np.diag(sums.rows_gram) / max(sums.count_rows, 1)
    return JobTimes(
        levels=sums.levels,
        effects=found.mean,
        covariance=found.covariance,
        log_spreads=log_spreads,
        log_spreads_covariance=spread_covariance,
        weights=weights,
        usual=usual_of(sums.levels["task"], sums.minutes, told_minutes or {}),
        sums=sums,
    )
