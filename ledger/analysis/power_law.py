"""The power law of recurrent events (Crow-AMSAA): a rate that rises or falls with age.

A unit has scale * t ** shape events by age t on average. Above 1 the shape says that events come
ever faster, below 1 ever slower. Sources: MIL-HDBK-189 (1981), appendix C; Crow in Proschan and
Serfling (eds), Reliability and Biometry (1974), 379; NIST/SEMATECH e-Handbook, 8.4.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtri, ndtri

from ledger.analysis.histories import Histories, watched_units
from ledger.analysis.life_bounds import Column, TooFewLives, refuse, share_between
from ledger.analysis.power_law_search import PowerLawSearch

CRITICAL_AT_5_PERCENT = {
    2: 0.1748, 3: 0.1826, 4: 0.1911, 5: 0.1997, 6: 0.2036, 8: 0.2091, 10: 0.2119, 15: 0.2149,
    20: 0.2172, 30: 0.2186, 60: 0.2198, 100: 0.2210,
}  # fmt: skip
"""Cramér–von Mises statistics that 5 % of true power laws exceed, by number of events: simulated
here, 100,000 to 1,000,000 draws each. MIL-HDBK-189's table has the same to 0.002 (from memory)."""


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """A fitted power law. Ages, ends and times between events are in the unit of the times."""

    shape: float
    """Most likely, all units having one scale."""
    scale: float | None
    """Events by age 1, most likely; None where they are too few (or many) for a float to hold, as
    where events crowd at the end. `expected` and `intensity` hold all the same."""
    shape_low: float
    shape_high: float
    """Interval of the shape at `level`. Where all units were watched from 0, exact by chi-squared,
    each unit having a scale of its own; else by the likelihood ratio, all having one."""
    is_interval_exact: bool
    level: float
    end: float
    """The latest end of watching."""
    intensity_at_end: float
    """Events of one unit in one unit of time at age `end`, most likely."""
    mtbf_at_end: float
    """1 / `intensity_at_end`: mean time between events at that age."""
    shape_unbiased: float | None
    """(m - 1) / sum of ln(end / t), m counting no event that ended its unit's watching: NIST's
    modified estimate. Each unit may have a scale of its own. None where a unit was watched from
    later than 0, or where m < 2."""
    scale_unbiased: float | None
    """The scale that goes with `shape_unbiased`; NIST's a. None as `scale` is, too."""
    mtbf_unbiased: float | None
    """`mtbf_at_end` by the unbiased shape and scale, as NIST has it."""
    mtbf_low: float | None
    mtbf_high: float | None
    """NIST's approximate limits of `mtbf_unbiased` at `level`; only for one unit watched from 0 to
    an end that no event set. The upper one is None where there are too few events for one."""
    cramer_von_mises: float | None
    """How far the events are from the law: 0 is none. None where there is no unbiased shape."""
    critical_at_5_percent: float | None
    """5 % of true power laws have a larger statistic."""
    count_events: int
    count_used: int
    """Events without those that ended their unit's watching."""
    count_units: int

    @property
    def is_plausible(self) -> bool | None:
        """Say whether the events may follow the law, at 5 %; None where that cannot be judged."""
        if self.cramer_von_mises is None or self.critical_at_5_percent is None:
            return None
        return self.cramer_von_mises <= self.critical_at_5_percent

    def expected(self, age: float) -> float:
        """Give the mean number of events of one unit by an age; infinite past all floats."""
        return self.intensity_at_end * self.end / self.shape * _power(age / self.end, self.shape)

    def intensity(self, age: float) -> float:
        """Give the events of one unit in one unit of time at an age above 0."""
        return self.intensity_at_end * _power(age / self.end, self.shape - 1)


def power_law(
    time_of_event: Column,
    end: Column | float | None = None,
    *,
    unit_of_event: Column | None = None,
    unit: Column | None = None,
    start: Column | float | None = None,
    level: float = 0.95,
) -> PowerLaw:
    """Fit a power law to one unit's events, or to those of several.

    Given as in `ledger.analysis.histories.watched_units`: for one unit `end` is a figure, or None
    where its last event ended the watching; for several, `unit_of_event` has a row an event and
    `end` a row a unit. Raises `BadLives` for bad rows and an event at 0, `TooFewLives` where the
    events settle no shape.
    """
    share_between(level, "level")
    return power_law_of(watched_units(time_of_event, end, unit_of_event, unit, start), level)


def power_law_of(of: Histories, level: float = 0.95) -> PowerLaw:
    """Fit a power law to histories; else as `power_law`."""
    share_between(level, "level")
    refuse(of.time <= 0, "time_of_event", "a power law has no event at 0", "Give an age above 0")
    used = of.without_closing_events()
    spent = -float(np.log(used.time / used.end[used.unit]).sum())
    if not len(used.time) or spent <= 0:
        wrong = f"{len(used.time)} of {len(of.time)} came before their unit's watching ended"
        raise TooFewLives("events", "time_of_event", wrong, "A power law needs one that did")
    search = PowerLawSearch(of)
    shape = search.most_likely()
    end, is_from_new = search.longest, not of.start.any()
    counts = (len(of.time), len(used.time), len(of.end))
    limits = _chi_squared(counts[1], spent, level) if is_from_new else search.interval(shape, level)
    scale = search.scale(shape)
    intensity = search.at_longest(shape) * shape / end
    fit = (shape, scale, limits[0], limits[1], is_from_new, level, end, intensity, 1 / intensity)
    if not is_from_new or counts[1] < 2:
        return PowerLaw(*fit, None, None, None, None, None, None, None, *counts)
    unbiased = (counts[1] - 1) / spent
    own = search.scale(unbiased)
    mtbf = end / (search.at_longest(unbiased) * unbiased)
    is_single = counts[2] == 1 and not of.is_ended_by_event.any()
    low, high = mtbf_limits(mtbf, counts[0], level) if is_single else (None, None)
    distance, critical = cramer_von_mises(used, unbiased), critical_distance(counts[1])
    return PowerLaw(*fit, unbiased, own, mtbf, low, high, distance, critical, *counts)


def _power(base: float, exponent: float) -> float:
    try:
        return math.pow(base, exponent)
    except OverflowError:
        return float("inf")


def _chi_squared(count: int, spent: float, level: float) -> tuple[float, float]:
    """Give the limits of the shape: 2 shape sum ln(end / t) is chi-squared, df 2 * count."""
    tails = ((1 + level) / 2, (1 - level) / 2)  # chdtri takes the upper tail
    low, high = (float(chdtri(2 * count, tail)) / (2 * spent) for tail in tails)
    return low, high


def mtbf_limits(mtbf: float, count: int, level: float) -> tuple[float, float | None]:
    """Give NIST's approximate limits of a mean time between events at the end of watching.

    `mtbf` by the unbiased shape, `count` events, an end set beforehand. No upper limit where the
    events are too few for one. Source: the e-Handbook's R code for a power law, read.
    """
    z = float(ndtri((1 + level) / 2))
    least = count + z**2 / 4 + float(np.sqrt(count * z**2 / 2 + z**4 / 16))
    most = count - z * float(np.sqrt(count / 2))
    scaled = mtbf * count * (count - 1)
    return scaled / least**2, scaled / most**2 if most > 0 else None


def cramer_von_mises(used: Histories, shape: float) -> float:
    """Give how far events are from a power law: 1/12m + sum of ((t / end)^shape - (2i-1)/2m)².

    Events of several units are put in one order by t / end. `shape` is the unbiased one, and no
    event that ended its unit's watching is among the m.
    """
    count = len(used.time)
    reached = np.sort(used.time / used.end[used.unit]) ** shape
    middle = (2 * np.arange(1, count + 1) - 1) / (2 * count)
    return 1 / (12 * count) + float(np.sum((reached - middle) ** 2))


def critical_distance(count: int) -> float:
    """Give the Cramér–von Mises statistic that 5 % of true power laws of so many events exceed."""
    known = np.array(sorted(CRITICAL_AT_5_PERCENT))
    values = np.array([CRITICAL_AT_5_PERCENT[one] for one in known])
    return float(np.interp(-1 / count, -1 / known, values))
