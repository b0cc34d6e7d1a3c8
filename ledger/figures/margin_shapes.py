"""What is said about what each tier earns: margins, break-even, what-if, the bench, advice.

Money is whole minor units of the book's currency, net of tax; a figure an hour is a float of
minor units. Hours are bench hours. The words are defined in DEVELOPERS.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

FEWEST_JOBS = 8
"""Jobs below which nothing is said of what a tier earns."""
MOST_HELD = 500
"""Holds that are listed one by one."""
WaitingFor = Literal["answer", "part", "payment", "other"]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its bootstrap percentile intervals, by bike."""

    value: float
    low_80: float | None
    """None, as all that follow, where there are too few bikes."""
    high_80: float | None
    low_95: float | None
    high_95: float | None


@dataclass(frozen=True, slots=True)
class Caused:
    """What come-back jobs took unpaid, in the tier of the job whose work came back."""

    count_jobs: int = 0
    """Those that took nothing unpaid too."""
    minutes: int = 0
    wages_minor: int = 0
    consumables_minor: int = 0
    fixed_minor: int = 0
    parts_minor: int = 0
    """Lines given away, at what they cost."""

    @property
    def minor(self) -> int:
        """All of it."""
        return self.wages_minor + self.consumables_minor + self.fixed_minor + self.parts_minor


@dataclass(frozen=True, slots=True)
class Earning:
    """What jobs brought in and took. Sums of whole minor units, a stretch and a line at a time."""

    count_jobs: int
    bench_minutes: int
    net_labour_minor: int
    net_parts_minor: int
    net_consumables_minor: int
    net_other_minor: int
    parts_cost_minor: int
    """Of every line but labour, given away or not."""
    wages_minor: int
    consumables_minor: int
    fixed_minor: int
    minutes_without_wage: int
    """Minutes of mechanics with no wage told: they cost nothing here."""
    count_lines_without_cost: int
    """Part lines whose cost is not on record: they cost nothing here."""
    caused: Caused
    """Of the above, what come-back jobs took unpaid and this tier caused."""

    @property
    def net_minor(self) -> int:
        """Charged, net of tax."""
        return (
            self.net_labour_minor
            + self.net_parts_minor
            + self.net_consumables_minor
            + self.net_other_minor
        )

    @property
    def contribution_minor(self) -> int:
        """Net less parts, wages and consumables: before fixed cost."""
        spent = self.parts_cost_minor + self.wages_minor + self.consumables_minor
        return self.net_minor - spent

    @property
    def margin_minor(self) -> int:
        """Contribution less the fixed charge."""
        return self.contribution_minor - self.fixed_minor

    @property
    def margin_share(self) -> float | None:
        """Margin over net, 0 to 1 or below nought; None where nothing was charged."""
        return self.margin_minor / self.net_minor if self.net_minor else None

    @property
    def earned_rate_minor(self) -> float | None:
        """Net less parts an hour; None where no minute was worked."""
        if not self.bench_minutes:
            return None
        return (self.net_minor - self.parts_cost_minor) * 60 / self.bench_minutes

    @property
    def contribution_per_hour_minor(self) -> float | None:
        """Contribution an hour; None where no minute was worked."""
        return self.contribution_minor * 60 / self.bench_minutes if self.bench_minutes else None


@dataclass(frozen=True, slots=True)
class LowestPrice:
    """What a tier's own line would have to be charged for its hours to earn the break-even."""

    count_lines: int
    """Charged lines with the tier's code."""
    mean_line_minor: float
    price_minor: int
    """Rounded up."""
    price_in_force_minor: int | None
    """The tier's price on the last day; None where none is told."""


@dataclass(frozen=True, slots=True)
class TierMargin:
    """One tier."""

    tier: str | None
    label: str
    earning: Earning
    contribution_per_hour: Estimate | None
    """None where no minute was worked."""
    lowest_price: LowestPrice | None
    """None where the tier's own line was never charged, or break-even is not known."""
    is_too_few: bool
    verdict: str
    """What it earns in words, or that there are too few to judge."""


@dataclass(frozen=True, slots=True)
class MonthMargin:
    """One local month of closing."""

    month: str
    """`2026-03`."""
    label: str
    earning: Earning


@dataclass(frozen=True, slots=True)
class NotCarried:
    """Fixed cost of the period's days beside what the hours worked in it carried."""

    days: int
    fixed_cost_minor: int
    """Of the days."""
    carried_minor: int
    """By the stretches worked in the period, of closed and open jobs."""
    days_untold: int
    """Days on which no fixed cost was told."""
    line: str

    @property
    def not_carried_minor(self) -> int:
        """What no hour carried; below nought where more hours were worked than can be sold."""
        return self.fixed_cost_minor - self.carried_minor


@dataclass(frozen=True, slots=True)
class BreakEven:
    """What a sellable bench hour has to bring in to lose nothing, by the terms of the last day."""

    charge_minor: float
    """An hour."""
    mean_wage_minor: float
    """An hour: of the period's stretches, by minutes."""
    is_wage_of_stretches: bool
    """False: none was worked, so the plain mean in force."""
    paid_hours: float
    """A week."""
    is_paid_hours_told: bool
    """False: taken to be the sellable hours."""
    sellable_hours: float
    """A week."""
    fixed_cost_week_minor: float
    consumables_minor: float
    """An hour."""


@dataclass(frozen=True, slots=True)
class WhatIfRow:
    """One tier as it was, and as it would have been."""

    tier: str | None
    label: str
    price_change: float
    """A share: 0.05 is 5 % more on the tier's own line."""
    minutes_change: float
    """A share of the tier's bench minutes."""
    margin_minor: int
    margin_after_minor: int
    contribution_per_hour_minor: float | None
    contribution_per_hour_after_minor: float | None
    earned_rate_after_minor: float | None


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Prices and minutes of tiers changed, all else as it was: nobody stays away in it."""

    rows: tuple[WhatIfRow, ...]
    margin_minor: int
    margin_after_minor: int
    line: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WeekSold:
    """One local ISO week of the bench."""

    week: str
    """`2026-W12`."""
    starts_on: date
    days: int
    """Of the week in the period."""
    bench_minutes: int
    charged_minutes: int
    """Of those, of the kinds quoted and found later."""
    open_minutes: int | None
    """Sellable, of those days; None where no hours are told."""


@dataclass(frozen=True, slots=True)
class OpenWork:
    """One open job, with the minutes that are left of it."""

    bike: str
    job: str
    tier: str | None
    tier_label: str
    opened_at: datetime
    promised_at: datetime | None
    waiting_for: WaitingFor | None
    """None while work goes on."""
    minutes_left: int
    is_quoted: bool
    """False: never quoted, so the tier's minutes in force less what was worked."""


@dataclass(frozen=True, slots=True)
class Capacity:
    """Bench hours sold against open, and what is booked ahead as at the instant."""

    weeks: tuple[WeekSold, ...]
    bench_minutes: int
    charged_minutes: int
    open_minutes: int | None
    open_jobs: tuple[OpenWork, ...]
    """Promised first, then longest open."""
    minutes_ahead: int
    weeks_ahead: float | None
    """None where no sellable hours are told."""
    line: str


@dataclass(frozen=True, slots=True)
class HeldBy:
    """Holds by what was waited for, of jobs open at any time in the period."""

    waiting_for: WaitingFor
    count_holds: int
    count_jobs: int
    count_now: int
    """Jobs held for it as at the instant."""
    days: float
    """In the period, over all holds."""
    median_days: float
    """Of a whole hold; one that still goes on counts as it stands."""


@dataclass(frozen=True, slots=True)
class HeldJob:
    """One hold."""

    bike: str
    job: str
    tier: str | None
    waiting_for: WaitingFor
    held_at: datetime
    ended_at: datetime | None
    """None while it goes on."""
    days: float


@dataclass(frozen=True, slots=True)
class Held:
    """Days held, and for what."""

    rows: tuple[HeldBy, ...]
    """Most days first."""
    jobs: tuple[HeldJob, ...]
    """Longest first: at most MOST_HELD of them."""
    count_holds: int
    """All of them."""
    line: str


@dataclass(frozen=True, slots=True)
class DearerAdvice:
    """Advice that was not taken and cost more later, at the same position or in its system."""

    bike: str
    position: str
    place: str
    """The position in the bench's words."""
    advised_at: datetime
    answer: str | None
    """None: never answered."""
    price_minor: int
    job: str
    """The later job."""
    closed_at: datetime
    days: int
    later_minor: int
    """Charged there at the position or in its system."""
    is_same_position: bool
    decides_safety: bool

    @property
    def dearer_minor(self) -> int:
        """How much more it came to."""
        return self.later_minor - self.price_minor


@dataclass(frozen=True, slots=True)
class Dearer:
    """Declined advice that came back dearer, the later job closed in the period."""

    rows: tuple[DearerAdvice, ...]
    """Most first."""
    count_not_taken: int
    """Advice with a price that was answered no, later, or not at all: given before the period's
    end, and not 730 days before it begins."""
    count_came_back: int
    """Of those, the ones whose first later job that charged for it was closed in the period,
    dearer or not."""
    dearer_minor: int
    line: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class JobMargin:
    """One job behind a tier; caused work stands at the come-back job itself."""

    bike: str
    job: str
    tier: str | None
    caused_tier: str | None
    """The tier its unpaid work is charged to, where it came back."""
    is_come_back: bool
    closed_at: datetime
    bench_minutes: int
    net_minor: int
    parts_cost_minor: int
    wages_minor: int
    consumables_minor: int
    fixed_minor: int
    caused_minor: int
    """Of the above costs, what is charged to `caused_tier`."""
    margin_minor: int
    """Of the job as a whole, whatever caused it."""
    minutes_without_wage: int
    count_lines_without_cost: int
