"""How likely the minutes of all jobs are, given the spreads, with every effect taken out.

Effects are Normal about 0, so that they integrate out in closed form (Harville, JASA 72, 1977,
with a wide prior on the mean in place of a flat one). Spreads have gamma priors of shape 2: they
keep a spread of few levels away from 0 and from infinity, and give way to data (Chung et al.,
Psychometrika 78, 2013).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ledger.analysis.job_columns import FACTORS
from ledger.analysis.job_sums import JobSums, count_effects
from ledger.analysis.life_bounds import FloatArray

SPREADS = (*FACTORS, "job", "row")
"""The standard deviations: between a factor's levels, jobs, and tasks of one job."""
LIKELY = np.array([0.15, 0.15, 0.15, 0.15, 0.15, 0.3])
"""Where the prior of each has its top: minutes are mostly within a third of the plan."""
MEAN_SPREAD = 0.5
"""Before any job, the mean ratio is likely between a half and twice as planned."""


@dataclass(frozen=True, slots=True)
class Effects:
    """The effects at one set of spreads."""

    mean: FloatArray
    """(p,)"""
    covariance: FloatArray
    """(p, p)"""
    log_likelihood: float
    """Of the minutes, without the prior of the spreads."""


@dataclass(frozen=True)
class Likelihood:
    """The likelihood of one set of sums."""

    sums: JobSums

    @cached_property
    def sizes(self) -> FloatArray:
        """Give the counts of tasks that jobs have."""
        return np.flatnonzero(self.sums.jobs).astype(np.float64)

    @cached_property
    def _by_size(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        there, sums = self.sums.jobs > 0, self.sums
        return (
            sums.jobs[there],
            sums.jobs_gram[there],
            sums.jobs_pull[there],
            sums.jobs_square[there],
        )

    @cached_property
    def _factor_of(self) -> FloatArray:
        """Give which factor (p - 1,) each effect but the mean is of."""
        counts = [len(self.sums.levels[name]) for name in FACTORS]
        return np.repeat(np.arange(len(FACTORS)), counts)

    def prior_variance(self, spreads: FloatArray) -> FloatArray:
        """Give the variance (p,) of the effects before any job."""
        between = spreads[: len(FACTORS)][self._factor_of] ** 2
        return np.concatenate([[MEAN_SPREAD**2], between])

    def effects(self, spreads: FloatArray) -> Effects:
        """Give the effects at spreads (6,) in the order of SPREADS, and the likelihood."""
        of_job, of_row = spreads[-2] ** 2, spreads[-1] ** 2
        jobs, gram, pull, square = self._by_size
        whole = of_row + self.sizes * of_job
        share = of_job / whole
        precision = (self.sums.rows_gram - np.tensordot(share, gram, 1)) / of_row
        pulled = (self.sums.rows_pull - share @ pull) / of_row
        squares = (self.sums.rows_square - float(share @ square)) / of_row
        prior = self.prior_variance(spreads)
        root = np.linalg.cholesky(precision + np.diag(1 / prior))
        inverse = np.linalg.solve(root, np.eye(count_effects(self.sums.levels)))
        covariance = inverse.T @ inverse
        mean = covariance @ pulled
        rows = self.sums.count_rows
        log_size = float(jobs @ np.log(whole)) + (rows - float(jobs.sum())) * np.log(of_row)
        log_size += 2 * float(np.log(np.diag(root)).sum()) + float(np.log(prior).sum())
        fit = squares - float(mean @ pulled)
        return Effects(mean, covariance, -0.5 * (log_size + fit + rows * np.log(2 * np.pi)))

    def posterior(self, log_spreads: FloatArray) -> tuple[float, FloatArray]:
        """Give the log posterior of the log spreads (6,), up to a constant, and its slopes (6,)."""
        spreads = np.exp(log_spreads)
        found = self.effects(spreads)
        prior = 2 * float((log_spreads - spreads / LIKELY).sum())
        slopes = np.concatenate([self._factor_slopes(found, spreads), self._slopes(found, spreads)])
        return found.log_likelihood + prior, slopes + 2 * (1 - spreads / LIKELY)

    def _factor_slopes(self, found: Effects, spreads: FloatArray) -> FloatArray:
        """Give the slopes (4,) by the factors' log spreads: how far the effects outdo them."""
        square = (found.mean**2 + np.diag(found.covariance))[1:]
        count = len(FACTORS)
        summed = np.bincount(self._factor_of, weights=square, minlength=count)
        sizes = np.bincount(self._factor_of, minlength=count)
        return np.asarray(summed / spreads[:count] ** 2 - sizes)

    def _slopes(self, found: Effects, spreads: FloatArray) -> FloatArray:
        """Give the slopes (2,) by the log spreads of jobs and rows.

        Effects stay where they are best, so that only the squares about them move; their
        uncertainty counts as squares too.
        """
        of_job, of_row = spreads[-2] ** 2, spreads[-1] ** 2
        jobs, gram, pull, square = self._by_size
        whole = of_row + self.sizes * of_job
        mean, both = found.mean, np.outer(found.mean, found.mean) + found.covariance
        left = square - 2 * pull @ mean + np.tensordot(gram, both, 2)
        sums = self.sums
        left_rows = sums.rows_square - 2 * sums.rows_pull @ mean + np.vdot(sums.rows_gram, both)
        by_job = float((left / whole**2 - jobs * self.sizes / whole).sum())
        by_row = (left_rows - float((of_job / whole * left).sum())) / of_row**2
        by_row -= float((left * of_job / whole**2).sum()) / of_row
        by_row -= float((jobs / whole).sum()) + (sums.count_rows - float(jobs.sum())) / of_row
        return np.array([by_job * of_job, by_row * of_row])
