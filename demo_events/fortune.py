"""What truly happens to a bike between visits: faults, returns, and when its rider comes in."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from demo_events.bikes import Bike, Returning
from demo_events.catalogue import PARTS
from demo_events.days import MONTHS
from demo_events.faults import FaultMode, modes_for
from demo_events.parameters import (
    BRINGS_SHARE,
    DEMAND,
    GAP_DAYS,
    LATE_FACTOR,
    PREVENTION_DAYS,
    PREVENTION_FACTOR,
    PROMPT_FACTOR,
    RETURN_SHARE,
)

RETURN_FACTORS = {model.model: model.return_factor for models in PARTS.values() for model in models}
NO_HISTORY = (250, 900.0)
"""Days and km a bike's first look answers for, where nothing is known of it."""


def return_chance(tier: str | None, model: str, is_doubled: bool) -> float:
    """Give the true chance that a fault put right comes back."""
    chance = RETURN_SHARE[tier or "come-back"] * RETURN_FACTORS.get(model, 1.0)
    return min(0.9, chance * (2 if is_doubled else 1))


def _protected_share(bike: Bike, position: str, first: int, last: int) -> float:
    until = bike.prevented.get(position)
    if until is None or last <= first:
        return 0.0
    started = until - PREVENTION_DAYS
    return max(0, min(until, last) - max(started, first)) / (last - first)


def found_faults(rng: Random, bike: Bike, day: int) -> list[FaultMode]:
    """Give the faults that arose since the last visit and that nobody came in for."""
    days, km = NO_HISTORY
    if bike.visits:
        days, km = day - bike.day_of_last_visit, bike.km - bike.km_at_last_visit
    found = []
    for mode in modes_for(bike.sorts):
        mean = mode.per_1000_km * km / 1000 + mode.per_year * days / 365
        if mode.complaint:
            mean *= 1 - BRINGS_SHARE
        if rng.random() >= mean:
            continue
        share = _protected_share(bike, mode.position, day - days, day)
        if share == 0 or rng.random() < 1 - share * (1 - PREVENTION_FACTOR):
            found.append(mode)
    return found


_BRINGING: dict[frozenset[str], tuple[list[FaultMode], float, float]] = {}


def _bringing(sorts: frozenset[str]) -> tuple[list[FaultMode], float, float]:
    """Give the modes people come in for, and their hazards a 1,000 km and a year, summed."""
    known = _BRINGING.get(sorts)
    if known is None:
        modes = [mode for mode in modes_for(sorts) if mode.complaint]
        per_km = sum(mode.per_1000_km for mode in modes)
        known = _BRINGING[sorts] = (modes, per_km, sum(mode.per_year for mode in modes))
    return known


def draw_complaint(rng: Random, bike: Bike) -> FaultMode:
    """Give one fault people come in for, as often as each arises on this bike."""
    modes, _, _ = _bringing(bike.sorts)
    yearly = bike.rider.weekly_km * 52 / 1000
    weights = [mode.per_1000_km * yearly + mode.per_year for mode in modes]
    return rng.choices(modes, weights)[0]


def next_stop(rng: Random, bike: Bike, day: int, last: int) -> tuple[int, FaultMode] | None:
    """Give the day and the fault that bring the rider in before a planned visit, if any do.

    Faults arise as a Poisson process; while preventive work protects a position its faults are
    thinned by the true factor.
    """
    _, per_km, per_year = _bringing(bike.sorts)
    daily = (per_year / 365 + per_km * bike.rider.weekly_km / 7000) * BRINGS_SHARE
    moment = float(day)
    while True:
        moment += 1 + rng.expovariate(daily)
        if moment >= last:
            return None
        mode = draw_complaint(rng, bike)
        is_protected = bike.prevented.get(mode.position, 0) > moment
        if not is_protected or rng.random() < PREVENTION_FACTOR:
            return int(moment), mode


def gap_days(rng: Random, bike: Bike, day: int) -> int:
    """Give how long until the next planned visit: late riders wait, spring draws people in."""
    rider = bike.rider
    mean = GAP_DAYS[rider.riding] * (LATE_FACTOR if rider.is_late else PROMPT_FACTOR)
    mean *= (
        min(2.0, max(0.5, 33.0 / max(12.0, rider.weekly_km))) if rider.riding == "commute" else 1
    )
    return seasonal(rng, lambda: max(7, int(mean * rng.uniform(0.5, 1.4))), day)


def seasonal(rng: Random, draw: Callable[[], int], after: int = 0) -> int:
    """Give a number of days drawn so that riders come in when the season makes them willing."""
    days = 0
    for _ in range(6):
        days = draw()
        month = MONTHS[min(after + days, len(MONTHS) - 1)]
        if rng.random() < DEMAND[month - 1] / max(DEMAND):
            break
    return days


def skips_soon(bike: Bike, day: int) -> bool:
    """Tell whether a chain fitted today will jump on a cassette that is truly worn."""
    chain, cassette = bike.parts["chain"], bike.parts.get("cassette")
    if cassette is None or chain.fitted_on != day or cassette.fitted_on == day:
        return False
    return cassette.wear > 0.9


def due_returns(bike: Bike, day: int) -> list[Returning]:
    """Take the faults that have come back by this day off the bike's fate."""
    due = [fate for fate in bike.returning if fate.day <= day]
    bike.returning = [fate for fate in bike.returning if fate.day > day]
    return due
