"""How much is ridden, and in what weather, between any two days: running sums by season."""

from __future__ import annotations

from itertools import accumulate

from demo_events.days import COUNT_DAYS, DATES, MONTHS
from demo_events.parameters import LAY_UP_MONTHS, RIDINGS, SEASON, WEATHER

Table = dict[tuple[str, bool], tuple[float, ...]]


def _share(riding: str, lays_up: bool, day: int) -> float:
    month = MONTHS[day]
    if lays_up and month in LAY_UP_MONTHS:
        return 0.0
    return SEASON[riding][month - 1]


def _table(is_weathered: bool) -> Table:
    days = range(COUNT_DAYS + 30)
    return {
        (riding, lays_up): tuple(
            accumulate(
                (
                    _share(riding, lays_up, day)
                    * (WEATHER[DATES[day].month - 1] if is_weathered else 1.0)
                    for day in days
                ),
                initial=0.0,
            )
        )
        for riding in RIDINGS
        for lays_up in (False, True)
    }


RIDDEN = _table(is_weathered=False)
"""(riding, lays up) -> days of average riding before each day."""
WEATHERED = _table(is_weathered=True)
"""The same, each day weighted by what its weather does to wear."""
