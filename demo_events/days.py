"""The demo's days: opening hours, holidays, seasons, and local time as UTC.

A day is a whole number counted from `FIRST_DAY`; an instant is whole seconds of Unix time.
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from demo_events.names import TIME_ZONE

FIRST_DAY = date(2023, 10, 1)
LAST_DAY = date(2026, 9, 30)
COUNT_DAYS = (LAST_DAY - FIRST_DAY).days + 1

_ZONE = ZoneInfo(TIME_ZONE)
DATES = tuple(FIRST_DAY + timedelta(days=day) for day in range(COUNT_DAYS + 400))
MONTHS = tuple(moment.month for moment in DATES)
WEEKDAYS = tuple(moment.weekday() for moment in DATES)
MIDNIGHTS = tuple(
    int(datetime.combine(moment, time(), _ZONE).timestamp()) for moment in DATES
)  # fmt: skip
"""Unix time at the start of each day in the shop's time zone."""

WINDOWS_WEEK = ((8 * 60 + 30, 12 * 60 + 30), (13 * 60, 16 * 60 + 36))
WINDOWS_SATURDAY = ((9 * 60, 13 * 60), (13 * 60 + 30, 16 * 60 + 30))
"""Bench windows in minutes of the day: 38 h a week for a full-timer, 7 h on a Saturday."""


@cache
def day_index(moment: date) -> int:
    """Give the number of a date, counted from the first day."""
    return (moment - FIRST_DAY).days


def is_closed(day: int) -> bool:
    """Tell whether the whole shop is shut: Sundays, the turn of the year, the town's fair."""
    moment = DATES[day]
    if WEEKDAYS[day] == 6:
        return True
    if (moment.month, moment.day) in {(4, 27), (5, 1)}:
        return True
    return (moment.month == 12 and moment.day >= 24) or (moment.month == 1 and moment.day == 1)


_HOLIDAY_WEEKS = {0: {7, 8, 32, 33}, 1: {2, 3, 37, 38}}


def is_away(bench: int, day: int) -> bool:
    """Tell whether a mechanic (0 and 1 full-time, 2 Saturdays) is on holiday."""
    if bench == 2:
        return MONTHS[day] == 7
    return DATES[day].isocalendar().week in _HOLIDAY_WEEKS[bench]


@cache
def windows(bench: int, day: int) -> tuple[tuple[int, int], ...]:
    """Give the instants between which a mechanic stands at the bench that day."""
    is_saturday = WEEKDAYS[day] == 5
    if is_closed(day) or is_away(bench, day) or is_saturday != (bench == 2):
        return ()
    chosen = WINDOWS_SATURDAY if is_saturday else WINDOWS_WEEK
    start = MIDNIGHTS[day]
    return tuple((start + low * 60, start + high * 60) for low, high in chosen)


@cache
def available_minutes(bench: int, day: int) -> int:
    """Give the bench minutes a mechanic has that day."""
    return sum(high - low for low, high in windows(bench, day)) // 60


@cache
def capacity_minutes(day: int) -> int:
    """Give the bench minutes of all three mechanics that day."""
    return sum(available_minutes(bench, day) for bench in range(3))


@cache
def open_day(day: int) -> int:
    """Give the first day from this one on when somebody is at the bench."""
    while capacity_minutes(day) == 0:
        day += 1
    return day


_DAY_TEXT: dict[int, str] = {}


def moment_text(instant: int, microsecond: int = 0) -> str:
    """Give an instant as RFC 3339 text in UTC with six digits."""
    day, second = divmod(instant, 86_400)
    text = _DAY_TEXT.get(day)
    if text is None:
        text = _DAY_TEXT[day] = (date(1970, 1, 1) + timedelta(days=day)).isoformat()
    minute, second = divmod(second, 60)
    hour, minute = divmod(minute, 60)
    return f"{text}T{hour:02d}:{minute:02d}:{second:02d}.{microsecond:06d}Z"
