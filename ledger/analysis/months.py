"""How many days of each month of the year lie between instants (days since 1970, UTC)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from ledger.analysis.distances import Floats

MONTH_SHARES: Floats = np.array([31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) / 365.25
"""The share of a year that each month is."""


def month_of(days: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Give the month (0 to 11) of whole days since 1970."""
    months = days.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64)
    return np.asarray(months % 12)


class Calendar:
    """Days by month from one day to another, looked up at any instants between."""

    def __init__(self, first: float, last: float) -> None:
        """`first` and `last` are days since 1970; what is asked must lie between them."""
        self._first = int(np.floor(first))
        days = np.arange(self._first, int(np.floor(last)) + 2, dtype=np.int64)
        ones = np.zeros((len(days), 12))
        ones[np.arange(len(days)), month_of(days)] = 1.0
        self._until = np.concatenate([np.zeros((1, 12)), np.cumsum(ones, axis=0)])
        self._month = month_of(days)

    def until(self, at: Floats) -> Floats:
        """Give the days of each month from the first day until each instant: (N, 12)."""
        whole = np.floor(at).astype(np.int64)
        index = whole - self._first
        days = self._until[index].copy()
        days[np.arange(len(at)), self._month[index]] += at - whole
        return days


def days_by_month(start: Floats, end: Floats) -> Floats:
    """Give the days of each month between N pairs of instants: (N, 12), rows sum to end - start."""
    if not len(start):
        return np.zeros((0, 12))
    calendar = Calendar(min(start.min(), end.min()), max(start.max(), end.max()))
    return calendar.until(end) - calendar.until(start)
