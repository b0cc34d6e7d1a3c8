"""Were the forecasts of minutes right? Fit on the past, foretell the next jobs, compare."""

from __future__ import annotations

from dataclasses import dataclass

from ledger.analysis.job_columns import Worked

FOLDS = 8


@dataclass(frozen=True, slots=True)
class Calibration:
    """How the forecasts did, each job foretold from what was closed before its fold began."""

    count: int
    """Jobs scored."""
    count_folds: int
    share_under_p50: float
    share_under_p80: float
    loss: float
    """Mean pinball loss in minutes, of P50 and P80 together."""
    loss_planned: float
    """The same of the planned minutes as they are, taken for both."""
    loss_median_ratio: float
    """The same of the planned minutes times the shop's median ratio so far."""


def backtest(work: Worked, *, folds: int = FOLDS, seed: int = 0) -> Calibration | None:
    """Score forecasts of each next fold of jobs in time; None where there are too few."""
    raise NotImplementedError
