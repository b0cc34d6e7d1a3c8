"""Service a part or replace it: the expected cost per remaining km of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ledger.analysis.life_bounds import Column


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


def restricted_mean(
    km: Column, is_ended: Column, *, horizon_km: float | None = None, level: float = 0.8
) -> ExpectedKm:
    """Give the mean km until trouble, restricted to a horizon (by Kaplan and Meier)."""
    raise NotImplementedError


@dataclass(frozen=True, slots=True)
class Option:
    """Servicing or replacing: what it costs, how far it goes, what that is per 1,000 km."""

    cost_minor: int
    expected: ExpectedKm
    minor_per_1000_km: float
    low: float
    high: float


Verdict = Literal["service", "replace", "no clear difference", "too few to judge"]


@dataclass(frozen=True, slots=True)
class ServiceOrReplace:
    """Both options side by side, and what was assumed."""

    service: Option
    replace: Option
    chance_service_cheaper: float
    verdict: Verdict
    assumptions: tuple[str, ...]


def replace_or_service(
    *,
    service_cost_minor: int,
    service: ExpectedKm,
    replace_cost_minor: int,
    new: ExpectedKm,
    seed: int = 0,
) -> ServiceOrReplace:
    """Give the expected cost per remaining km of servicing and of replacing."""
    raise NotImplementedError
