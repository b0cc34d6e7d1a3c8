"""All that the model of minutes needs to know of the jobs: sums, which may be added."""

from __future__ import annotations

from dataclasses import dataclass

from ledger.analysis.job_columns import Worked


@dataclass(frozen=True, slots=True, eq=False)
class JobSums:
    """Sufficient statistics of the model of minutes."""


def sums_of(work: Worked) -> JobSums:
    """Give the sums of what was worked."""
    raise NotImplementedError
