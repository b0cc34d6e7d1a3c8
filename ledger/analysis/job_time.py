"""The minutes of a planned job, from what such jobs took: the door to the model's parts.

`worked` arranges what was done, `fit` fits the model to it (or `fit_sums` to sums kept),
`forecast` gives the minutes of a `Plan`, `backtest` says whether such forecasts held.
"""

from __future__ import annotations

from ledger.analysis.job_backtest import Calibration, FoldScore, backtest
from ledger.analysis.job_columns import FACTORS, Worked, worked
from ledger.analysis.job_fit import Drift, JobTimes, fit, fit_sums
from ledger.analysis.job_forecast import (
    Forecast,
    Plan,
    PlannedTask,
    forecast,
    price_at_risk,
)
from ledger.analysis.job_sums import JobSums, sums_of

__all__ = [
    "FACTORS",
    "Calibration",
    "Drift",
    "FoldScore",
    "Forecast",
    "JobSums",
    "JobTimes",
    "Plan",
    "PlannedTask",
    "Worked",
    "backtest",
    "fit",
    "fit_sums",
    "forecast",
    "price_at_risk",
    "sums_of",
    "worked",
]
