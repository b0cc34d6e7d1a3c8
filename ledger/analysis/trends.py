"""Whether a unit, or a group of them, has events ever faster or slower, in words and figures."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from ledger.analysis.histories import Histories, watched_units
from ledger.analysis.life_bounds import Column, TooFewLives, refuse, share_between
from ledger.analysis.power_law import PowerLaw, power_law, power_law_of
from ledger.analysis.trend_tests import (
    Judgement,
    TrendTest,
    laplace_of,
    least_to_judge,
    military_handbook_of,
    reverse_arrangements_of,
)

LEAST_TIME, MOST_TIME = 1e-100, 1e100
__all__ = [
    "Judgement",
    "PowerLaw",
    "Trend",
    "TrendTest",
    "laplace",
    "laplace_of",
    "least_to_judge",
    "military_handbook",
    "military_handbook_of",
    "power_law",
    "power_law_of",
    "reverse_arrangements",
    "reverse_arrangements_of",
    "trend",
    "trend_of",
]

LEAST_UNITS_FOR_ROBUST = 20
"""With fewer units that had events, the spread between them is too unsure to test by."""


@dataclass(frozen=True, slots=True)
class Trend:
    """Whether events come ever faster, by three tests and a fitted law, and in words.

    Laplace's test alone decides, so that it errs at the rate of `level` and no more; whether the
    other two agree is said beside it.
    """

    judgement: Judgement
    words: str
    laplace: TrendTest
    military_handbook: TrendTest | None
    """None where an event is at its unit's very start."""
    reverse_arrangements: TrendTest
    power_law: PowerLaw | None
    why_no_power_law: str | None
    chance_to_see_doubling: float
    """How likely Laplace's test would say "getting worse" of so many events, if they came at twice
    the rate in the second half of the watching."""
    count_events: int
    count_units: int
    level: float


def laplace(
    time_of_event: Column,
    end: Column | float | None = None,
    *,
    unit_of_event: Column | None = None,
    unit: Column | None = None,
    start: Column | float | None = None,
    level: float = 0.95,
    is_robust: bool = False,
) -> TrendTest:
    """Give Laplace's test for one unit's events, or pooled over units; see `laplace_of`.

    For one unit, `end` is when watching ended, or None where its last event ended it (that event
    is then left out). For several, `unit_of_event` has a row an event; `end`, `start` and the
    names `unit` a row a unit, with None or NaN among the ends in the same sense. Raises `BadLives`
    as `ledger.analysis.histories.histories` does.
    """
    share_between(level, "level")
    of = watched_units(time_of_event, end, unit_of_event, unit, start)
    return laplace_of(of, level, is_robust=is_robust)


def military_handbook(
    time_of_event: Column,
    end: Column | float | None = None,
    *,
    unit_of_event: Column | None = None,
    unit: Column | None = None,
    start: Column | float | None = None,
    level: float = 0.95,
) -> TrendTest:
    """Give the MIL-HDBK-189 test; see `military_handbook_of`, and `laplace` for what is given."""
    share_between(level, "level")
    return military_handbook_of(
        watched_units(time_of_event, end, unit_of_event, unit, start), level
    )


def reverse_arrangements(
    time_of_event: Column,
    end: Column | float | None = None,
    *,
    unit_of_event: Column | None = None,
    unit: Column | None = None,
    start: Column | float | None = None,
    level: float = 0.95,
) -> TrendTest:
    """Give the reverse arrangements test; see `reverse_arrangements_of`, and `laplace`."""
    share_between(level, "level")
    of = watched_units(time_of_event, end, unit_of_event, unit, start)
    return reverse_arrangements_of(of, level)


def trend(
    time_of_event: Column,
    end: Column | float | None = None,
    *,
    unit_of_event: Column | None = None,
    unit: Column | None = None,
    start: Column | float | None = None,
    level: float = 0.95,
) -> Trend:
    """Give all tests, the power law and the words, for one unit or a group; see `laplace`.

    Events are taken to come one at a time. Where several are found at one look (all faults of one
    visit), give each look once: as separate events they would pass for a crowd.
    """
    share_between(level, "level")
    found = watched_units(time_of_event, end, unit_of_event, unit, start)
    _refuse_sizes(found)
    return trend_of(found, level)


def _refuse_sizes(of: Histories) -> None:
    """Raise `BadLives` for times so long or short that their squares are none any more."""
    for field, times in (("time_of_event", of.time), ("end", of.end)):
        size = np.abs(times)
        is_far = (size > 0) & ~((size > LEAST_TIME) & (size < MOST_TIME))
        right = f"Give times between {LEAST_TIME:.0e} and {MOST_TIME:.0e}, in another unit"
        refuse(is_far, field, "it is no size that can be squared", right)


def trend_of(of: Histories, level: float = 0.95) -> Trend:
    """Give what `trend` gives, for histories.

    With `LEAST_UNITS_FOR_ROBUST` units that had events or more, Laplace's test takes its spread
    from how the units differ.
    """
    is_robust = int((of.without_closing_events().count_of_unit > 0).sum()) >= LEAST_UNITS_FOR_ROBUST
    decides = laplace_of(of, level, is_robust=is_robust)
    arranged = reverse_arrangements_of(of, level)
    military, law, why_not = _from_later_than_start(of, level)
    power = chance_to_see_doubling(of, level)
    words = _words(decides, [test for test in (military, arranged) if test is not None], power)
    fitted = (decides, military, arranged, law, why_not, power, len(of.time), len(of.end), level)
    return Trend(decides.judgement, words, *fitted)


def _from_later_than_start(
    of: Histories, level: float
) -> tuple[TrendTest | None, PowerLaw | None, str | None]:
    """Give what cannot take an event at the start of watching: test and law, or why not."""
    if np.any(of.time <= of.start[of.unit]):
        return None, None, "an event is at the very start"
    military = military_handbook_of(of, level)
    try:
        return military, power_law_of(of, level), None
    except TooFewLives as reason:
        return military, None, reason.wrong


def chance_to_see_doubling(of: Histories, level: float = 0.95) -> float:
    """Give how likely Laplace's test notices a rate twice as high in the second half of watching.

    By the normal approximation: each event's mean is then 1/12 of the width late, its variance
    11/144 of width² (a third of events in the first half, two thirds in the second).
    """
    used = of.without_closing_events()
    if len(used.time) < least_to_judge(level):
        return 0.0
    width = (used.end - used.start)[used.unit]
    squares = float(np.sum(width**2))
    if squares <= 0:
        return 0.0
    late, needed = (
        float(np.sum(width)) / 12,
        float(ndtri((1 + level) / 2)) * math.sqrt(squares / 12),
    )
    return float(ndtr((late - needed) / math.sqrt(squares * 11 / 144)))


def _words(decides: TrendTest, others: list[TrendTest], power: float) -> str:
    if decides.judgement == "too few events to judge":
        return decides.words
    words = decides.words
    if decides.judgement == "no trend shown":
        words += f"; a rate that doubled half-way would be noticed in {100 * power:.0f} % of cases"
    for other in others:
        if other.judgement not in (decides.judgement, "too few events to judge"):
            words += f"; the {other.name} test: {other.judgement}"
    return words
