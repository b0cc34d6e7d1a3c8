"""What is said of work not done yet: minutes, a price at a risk, room at the bench, replacing."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

FEWEST_ALIKE = 8
"""Jobs alike below which a forecast leans mostly on the others."""


@dataclass(frozen=True, slots=True)
class PlannedTask:
    """One task of the planned job."""

    task: str
    label: str
    minutes: float
    """Planned: as asked, else as the tier's or the task's terms tell, else the shop's median."""
    source: str
    """Which of these, in words."""


@dataclass(frozen=True, slots=True)
class BenchToday:
    """Whether today's bench can take it."""

    day: date
    open_minutes: int | None
    """Sellable today, by the weekday's share of the week; None where no hours are told."""
    worked_minutes: int | None
    """Already worked today; None, as all other minutes, where they are not the asker's to see."""
    promised_minutes: int | None
    """Left of open jobs promised for today or earlier, and not held."""
    left_minutes: int | None
    is_room_p50: bool | None
    is_room_p80: bool | None
    line: str


@dataclass(frozen=True, slots=True)
class JobForecast:
    """Minutes of a planned job, with what they rest on."""

    tasks: tuple[PlannedTask, ...]
    tier: str | None
    bike: str | None
    """The tag asked for."""
    bike_kind: str | None
    is_old: bool | None
    """It came with an unknown history; None: not told, so the mean of all bikes."""
    years: float | None
    planned_minutes: float
    p50_minutes: float
    p80_minutes: float
    risk: float
    risk_minutes: float
    """Not passed but with the chance `risk`."""
    rate_minor: int | None
    """Posted rate in force today, an hour; None where none is told."""
    risk_price_minor: int | None
    """Those minutes at the posted rate, rounded up; labour alone, net of tax."""
    price_minor: int | None
    """As asked."""
    chance_not_enough: float | None
    """That the labour passes the price asked at the posted rate; None where none is asked."""
    count_jobs: int
    """Closed jobs the model is fitted on."""
    count_alike: int
    """Of those, of this tier (or with all these tasks), and of this kind and age of bike."""
    bench: BenchToday
    front: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FoldScore:
    """One step of the rolling origin."""

    fitted_until: date
    scored_until: date
    count_fitted: int
    count_scored: int
    share_under_p50: float
    share_under_p80: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """Forecasts made only from what was known before, beside what came."""

    folds: tuple[FoldScore, ...]
    count_scored: int
    share_under_p50: float | None
    """None, as all that follow, where too few jobs could be scored."""
    share_under_p80: float | None
    pinball_minutes: float | None
    """Mean pinball loss over P50 and P80; the smaller the better."""
    pinball_planned_minutes: float | None
    """Of planned minutes as they are."""
    pinball_ratio_minutes: float | None
    """Of planned minutes times the shop's median ratio."""
    is_too_few: bool
    front: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CostPerKm:
    """Expected cost a km that remains, in minor units, with its 80 % interval."""

    minor_per_km: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class KmExpected:
    """Expected km with what they were taken from."""

    km: float
    low: float | None
    """80 % interval."""
    high: float | None
    count: int
    """Parts, or repairs, it rests on."""
    assumption: str
    """In words: of which parts, up to which km, what ends it."""


@dataclass(frozen=True, slots=True)
class ServiceOrReplace:
    """Servicing a part against replacing it: expected cost per remaining km of each."""

    bike: str
    position: str
    place: str
    as_at: datetime
    service_minor: float | None
    """What a service there costs here (parts and labour charged); None where never charged."""
    replace_minor: float | None
    """What a new one costs, fitted."""
    service_km: KmExpected | None
    """Until trouble there again, or the limit."""
    replace_km: KmExpected | None
    service: CostPerKm | None
    """None where money or km are not known."""
    replace: CostPerKm | None
    chance_replace_cheaper: float | None
    front: str
    assumptions: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
