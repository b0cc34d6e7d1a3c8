"""Service a part or replace it: the expected cost per remaining km of each.

By renewal and reward, the cost of a choice over the km it is expected to last. Expected km are a
restricted mean: no km past a horizon counts, since nobody has seen what comes after it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import ndtri

from ledger.analysis.life_bounds import (
    BadLives,
    BoolArray,
    Column,
    FloatArray,
    TooFewLives,
    figures,
    refuse,
    refuse_no_figure,
    same_length,
    share_between,
)

FEWEST_ENDED = 8
"""Fewer lives seen to their end say too little of how far such a part goes."""
DRAWS = 4000
CLEAR = 0.9
"""One is called cheaper where that is at least so likely."""


@dataclass(frozen=True, slots=True)
class ExpectedKm:
    """How far a part goes on average, at most to a horizon, with an interval."""

    km: float
    low: float
    high: float
    level: float
    horizon_km: float | None
    """The mean counts no km past it (restricted mean); None where it is a told figure."""
    share_beyond: float
    """Share of parts that get to the horizon."""
    count: int
    count_ended: int
    """Lives seen to their end before the horizon."""

    @property
    def is_judged(self) -> bool:
        """Say whether enough lives stand behind it; a told figure stands for itself."""
        return self.horizon_km is None or self.count_ended >= FEWEST_ENDED

    @property
    def log_error(self) -> float:
        """Give the standard error of its logarithm, by the interval's wider side."""
        widest = max(self.km / self.low, self.high / self.km)
        return math.log(widest) / float(ndtri((1 + self.level) / 2))


def told_km(km: float, low: float, high: float, *, level: float = 0.8) -> ExpectedKm:
    """Give expected km that are known from elsewhere, such as a wear forecast.

    Raises `BadLives` where low, km and high are not above 0 and in that order.
    """
    share_between(level, "level")
    if not 0 < low <= km <= high < math.inf:
        wrong = f"{km} does not lie between {low} and {high}"
        raise BadLives("argument", "km", wrong, "Give low, middle and high above 0")
    return ExpectedKm(km, low, high, level, None, 0.0, 0, 0)


def restricted_mean(
    km: Column, is_ended: Column, *, horizon_km: float | None = None, level: float = 0.8
) -> ExpectedKm:
    """Give the mean km until trouble, restricted to a horizon (by Kaplan and Meier).

    One row a part: how far it went, and whether it ended there or is still good. Without a
    horizon it is the farthest any went; one past that is brought back to it. The interval is on
    the logarithm, from the variance of Klein and Moeschberger, Survival Analysis, 4.5.

    Raises `BadLives` for rows that cannot be lives, `TooFewLives` where there is none.
    """
    length, ended = figures(km, "km"), figures(is_ended, "is_ended") != 0
    same_length(length, {"is_ended": ended.astype(np.float64)})
    refuse(~((length > 0) & np.isfinite(length)), "km", "it is no length", "Give km above 0")
    share_between(level, "level")
    if not len(length):
        raise TooFewLives("lives", "km", "there are none", "A mean needs one")
    horizon = _horizon(length, horizon_km)
    mean, error, beyond = _mean(length, ended, horizon)
    reach = math.exp(float(ndtri((1 + level) / 2)) * error / mean)
    count_ended = int(np.count_nonzero(ended & (length <= horizon)))
    high = min(mean * reach, horizon)
    return ExpectedKm(mean, mean / reach, high, level, horizon, beyond, len(length), count_ended)


def _horizon(length: FloatArray, told: float | None) -> float:
    farthest = float(length.max())
    if told is None:
        return farthest
    refuse_no_figure(told, "horizon_km", "Give km above 0")
    if not told > 0:
        raise BadLives("argument", "horizon_km", f"it is {told}", "Give km above 0")
    return min(farthest, float(told))


def _mean(length: FloatArray, ended: BoolArray, horizon: float) -> tuple[float, float, float]:
    """Give the restricted mean, its standard error, and the share that gets to the horizon.

    The mean is the area under the product-limit curve; worked out here, since the interval needs
    its pieces.
    """
    at, died = np.unique(length[ended & (length < horizon)], return_counts=True)
    risk = len(length) - np.searchsorted(np.sort(length), at)
    good = np.cumprod(1 - died / risk)
    ends = np.append(at, horizon)
    ahead = np.cumsum((np.diff(ends) * good)[::-1])[::-1]
    spread = np.zeros(len(at))
    np.divide(died, risk * (risk - died), out=spread, where=risk > died)
    mean = float(ends[0] + ahead[:1].sum())
    left = float(good[-1]) if len(good) else 1.0
    return mean, float(np.sqrt((ahead**2 * spread).sum())), left


Verdict = Literal["service", "replace", "no clear difference", "too few to judge"]


@dataclass(frozen=True, slots=True)
class Option:
    """Servicing or replacing: what it costs, how far it goes, what that is a km."""

    cost_minor: int
    expected: ExpectedKm
    minor_per_km: float
    low: float
    """At the level of the expected km; the cost itself is taken as known."""
    high: float


@dataclass(frozen=True, slots=True)
class ServiceOrReplace:
    """Both options side by side, and what was assumed."""

    service: Option
    replace: Option
    chance_service_cheaper: float
    verdict: Verdict
    assumptions: tuple[str, ...]


def _plainly(km: float) -> str:
    return f"{km:.0f} km"


def replace_or_service(
    *,
    service_cost_minor: int,
    service: ExpectedKm,
    replace_cost_minor: int,
    new: ExpectedKm,
    seed: int = 0,
    written: Callable[[float], str] = _plainly,
) -> ServiceOrReplace:
    """Give the expected cost per remaining km of servicing and of replacing.

    `service` is how far a part goes after a service until trouble there again or its limit;
    `new` how far a new one goes; `written` writes km in the words of the assumptions. Raises
    `BadLives` for a cost below 0, or where both are 0.
    """
    for field, cost in (("service", service_cost_minor), ("replace", replace_cost_minor)):
        if cost < 0:
            raise BadLives("argument", f"{field}_cost_minor", f"it is {cost}", "Give 0 or more")
    if not service_cost_minor + replace_cost_minor:
        raise BadLives("argument", "replace_cost_minor", "both cost 0", "Give what a new one costs")
    chance = _chance(service_cost_minor, service, replace_cost_minor, new, seed)
    return ServiceOrReplace(
        service=_option(service_cost_minor, service),
        replace=_option(replace_cost_minor, new),
        chance_service_cheaper=chance,
        verdict=_verdict(chance, service.is_judged and new.is_judged),
        assumptions=(
            f"A serviced part goes {_in_words(service, written)}.",
            f"A new part goes {_in_words(new, written)}.",
            "Costs are taken as known, and those of trouble on the way are not in them.",
            "The two are of different parts: what is foretold is a mean, not this one part.",
        ),
    )


def _option(cost_minor: int, expected: ExpectedKm) -> Option:
    of = (cost_minor / km for km in (expected.km, expected.high, expected.low))
    return Option(cost_minor, expected, *of)


def _chance(
    service_cost: int, service: ExpectedKm, replace_cost: int, new: ExpectedKm, seed: int
) -> float:
    """Give the chance that servicing costs less a km, both means log-normal about theirs."""
    rng = np.random.default_rng(seed)
    drawn = [
        each.km * np.exp(each.log_error * rng.standard_normal(DRAWS)) for each in (service, new)
    ]
    ahead, behind = service_cost * drawn[1], replace_cost * drawn[0]
    return float(np.mean(ahead < behind) + 0.5 * np.mean(ahead == behind))


def _verdict(chance: float, is_judged: bool) -> Verdict:
    if not is_judged:
        return "too few to judge"
    if chance >= CLEAR:
        return "service"
    return "replace" if chance <= 1 - CLEAR else "no clear difference"


def _in_words(expected: ExpectedKm, written: Callable[[float], str]) -> str:
    if expected.horizon_km is None:
        return f"{written(expected.km)}, as told"
    return (
        f"{written(expected.km)} on average, counted to {written(expected.horizon_km)} at most "
        f"({expected.count_ended} of {expected.count} ended before; "
        f"{100 * expected.share_beyond:.0f} % get there)"
    )
