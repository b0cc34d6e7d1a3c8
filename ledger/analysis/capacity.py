"""What today's bench can still take: a week's hours by weekday, less what is promised."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ledger.analysis.histories import numbers
from ledger.analysis.life_bounds import BadLives, Column, FloatArray, refuse, same_length
from ledger.analysis.rounding import IntArray

DAYS = 7


def weekday_shares(weekday: IntArray, minutes: Column) -> FloatArray:
    """Give the share (7,) of a bench week that falls on each weekday, Monday first; sums to 1.

    From the minutes worked (N,), `weekday` 0 for Monday to 6. Where none were worked, Monday to
    Friday share alike. Raises `BadLives` for a weekday or minutes that are none.
    """
    day, worked = np.asarray(weekday, dtype=np.int64), numbers(minutes, "minutes")
    same_length(worked, {"weekday": day.astype(np.float64)})
    refuse((day < 0) | (day >= DAYS), "weekday", "there is no such day", "Give 0 to 6")
    refuse(~((worked >= 0) & (worked < np.inf)), "minutes", "it is none", "Give 0 or more")
    total = np.bincount(day, weights=worked, minlength=DAYS)
    if not total.sum() > 0:
        return np.array([0.2] * 5 + [0.0] * 2)
    return np.asarray(total / total.sum())


@dataclass(frozen=True, slots=True)
class BenchToday:
    """The minutes of one bench day, and what of them is spoken for."""

    open_minutes: float
    """That the bench sells on such a weekday."""
    worked_minutes: float
    """Worked today so far."""
    promised_minutes: float
    """Still to do on the jobs promised for today or before."""

    @property
    def left_minutes(self) -> float:
        """Give the minutes nobody has asked for yet; below 0 where more is promised than fits."""
        return self.open_minutes - self.worked_minutes - self.promised_minutes

    def chance_fits(self, draws: FloatArray) -> float:
        """Give the chance that a job fits, from simulated totals of its minutes."""
        return float(np.mean(np.asarray(draws) <= self.left_minutes))


def bench_today(
    shares: FloatArray,
    weekday: int,
    sellable_hours: Any,
    *,
    worked_minutes: float = 0.0,
    promised_minutes: float = 0.0,
) -> BenchToday:
    """Give a day's bench: its weekday's share of the hours sold a week, and what is spoken for.

    Raises `BadLives` for shares that are not of seven days, or another weekday.
    """
    if len(shares) != DAYS or not 0 <= weekday < DAYS:
        raise BadLives("argument", "weekday", f"it is {weekday} of {len(shares)}", "Give 0 to 6")
    open_minutes = 60 * float(sellable_hours) * float(shares[weekday])
    return BenchToday(open_minutes, worked_minutes, promised_minutes)


def weeks_booked_ahead(minutes_left: Any, sellable_hours: Any) -> float:
    """Give the bench weeks that the open jobs' minutes left to do come to; below 0 counts as 0."""
    left = np.maximum(numbers(minutes_left, "minutes_left"), 0.0).sum()
    if not sellable_hours > 0:
        wrong = f"it is {sellable_hours}"
        raise BadLives("argument", "sellable_hours", wrong, "Give the hours of a week")
    return float(left / (60 * float(sellable_hours)))
