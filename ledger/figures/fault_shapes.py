"""What is said about faults that come back: counts, what they cost, a Pareto, a bike's history.

Money is in whole minor units of the book's currency, net of tax, as it cost the shop. Minutes
are those nobody paid for: booked as come-back or goodwill on a job that came back.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from ledger.figures.fault_estimates import Trend
from ledger.view import OpenAdvice

By = Literal["fault", "position", "system", "model", "tier"]
Measure = Literal["count", "minutes", "cost"]
BY: tuple[By, ...] = ("fault", "position", "system", "model", "tier")
MEASURES: tuple[Measure, ...] = ("count", "minutes", "cost")
Source = Literal["matched", "said at booking-in", "judged"]
"""How a job is linked to the one it answers."""


@dataclass(frozen=True, slots=True)
class Unpaid:
    """What come-backs took that nobody paid for."""

    minutes: int = 0
    minutes_minor: int = 0
    """Of the minutes whose mechanic's wage is told."""
    minutes_without_wage: int = 0
    """Minutes of mechanics whose wage the terms do not tell: in no money here."""
    parts_minor: int = 0
    parts_without_cost: int = 0
    """Charged lines given away whose cost is not on record: in no money here."""
    is_shown: bool = field(default=True, kw_only=True)
    """False where what was unpaid is not for the asker to see: all of it is 0 then."""

    @property
    def minor(self) -> int | None:
        """Minutes and parts in money; None where there are minutes and no wage of any is told, and
        where it is not shown."""
        if not self.is_shown:
            return None
        if self.minutes and not self.minutes_minor and self.minutes_without_wage:
            return None
        return self.minutes_minor + self.parts_minor

    def __add__(self, other: Unpaid) -> Unpaid:
        """Give the sum of two."""
        return Unpaid(
            self.minutes + other.minutes,
            self.minutes_minor + other.minutes_minor,
            self.minutes_without_wage + other.minutes_without_wage,
            self.parts_minor + other.parts_minor,
            self.parts_without_cost + other.parts_without_cost,
            is_shown=self.is_shown and other.is_shown,
        )


NOT_SHOWN = Unpaid(is_shown=False)


@dataclass(frozen=True, slots=True)
class FaultCounts:
    """Faults of a book, or of one row of a Pareto."""

    count_found: int = 0
    """Faults found: episodes."""
    count_put_right: int = 0
    count_found_again: int = 0
    """Found again after they were put right, within the window or not."""
    count_come_back: int = 0
    """Found again within their window, or said or judged so."""
    count_judged: int = 0
    """Put right, and came back, or followed until the window had run out."""
    count_did_not_hold: int = 0
    """Of those, the repairs that came back."""
    count_immature: int = 0
    """Put right, and not followed for so long: they count in no rate."""
    count_open: int = 0
    count_closed_without_work: int = 0
    count_carried: int = 0
    """Still there when a job after their finding was closed."""

    @property
    def rate_so_far(self) -> float | None:
        """Give the share of all repairs that are known to have come back; None of none.

        The least it can be: what came back to nobody's knowledge is not in it.
        """
        return self.count_did_not_hold / self.count_put_right if self.count_put_right else None

    @property
    def rate_followed(self) -> float | None:
        """Give the share of the repairs that can be judged that came back; None of none.

        What it would be if the bikes not seen again had fared as those that were; but a bike
        whose fault comes back is seen again, and one that runs well need not be.
        """
        return self.count_did_not_hold / self.count_judged if self.count_judged else None


@dataclass(frozen=True, slots=True)
class ParetoRow:
    """What came back of one fault, position, system, part model or tier."""

    key: str | None
    """None for what names no such thing: a come-back job with no fault of its own, no tier."""
    label: str
    counts: FaultCounts
    rate_low: float | None
    """80 % interval of `counts.rate_followed` (Jeffreys); None where none can be judged."""
    rate_high: float | None
    unpaid: Unpaid
    measured: int
    """The row's figure in the measure asked for: come-backs, minutes or minor units."""
    share: float
    """Of that figure over all rows, 0 to 1."""
    cumulative_share: float
    is_too_few: bool
    """Too few repairs of it can be judged to speak of a rate."""
    verdict: str
    """Both rates in words, or that there are too few to judge."""


@dataclass(frozen=True, slots=True)
class Pareto:
    """Come-backs by one thing, those with most of the measure first."""

    by: By
    measure: Measure
    rows: tuple[ParetoRow, ...]
    """Every key with a fault found; those of which nothing came back last."""
    total: int
    """In the measure: come-backs, minutes or minor units."""


@dataclass(frozen=True, slots=True)
class ComeBackJob:
    """A job that answers an earlier one of its bike, or was judged not to."""

    job: str
    bike: str
    opened_at: datetime | None
    tier: str | None
    answers: str | None
    """The earlier job; None where it was judged no come-back, or the repair names no job."""
    source: Source
    is_come_back: bool
    faults: tuple[tuple[str, str], ...]
    """(position, fault) found again in it that count as come-backs."""
    remark: str
    """What stands in place of `faults` where there are none: that no fault was found again, or
    what was, and was judged no come-back; else empty."""
    unpaid: Unpaid
    how_linked: str
    """In words: what linked it."""
    say_otherwise: tuple[str, ...]
    """Commands that record what somebody knows better."""


@dataclass(frozen=True, slots=True)
class BikeComeBacks:
    """One bike behind a row of a Pareto."""

    bike: str
    count_found: int
    count_put_right: int
    count_come_back: int
    unpaid: Unpaid
    last_found_at: datetime | None
    """None where the row's faults were only put right, not found, on it."""


@dataclass(frozen=True, slots=True)
class FaultEpisode:
    """One fault of one bike from found to put right, cleared, or still open."""

    position: str
    place: str
    """The position in the bench's words."""
    system: str
    fault: str
    fault_label: str
    cause: str | None
    cause_label: str | None
    verdict: str | None
    found_seq: int
    found_at: datetime
    found_job: str | None
    is_found_recorded: bool
    """False where it is on record only by the work that put it right."""
    put_right_at: datetime | None
    put_right_job: str | None
    put_right_by: str | None
    """The kind of work in words: `adjusted`, `cleaned`, `part fitted`."""
    put_right_actor: str | None
    """None where colleagues' figures are not the asker's to see."""
    cleared_at: datetime | None
    """Looked at and no longer found, without work."""
    count_jobs_carried: int
    answers_seq: int | None
    """found_seq of the earlier episode whose repair it follows, where it was found again."""
    days_since_repair: float | None
    km_since_repair: float | None
    """None where no distance is known between the two."""
    window_days: int | None
    window_km: float | None
    is_come_back: bool
    decides_safety: bool
    story: str
    """The episode in one line of words."""

    @property
    def is_open(self) -> bool:
        """Whether it is neither put right nor cleared."""
        return self.put_right_at is None and self.cleared_at is None


@dataclass(frozen=True, slots=True)
class BikeFaults:
    """One bike's history of faults, oldest first."""

    bike: str
    as_at: datetime
    as_known: int
    """The last seq that was known."""
    observed_until: datetime | None
    """The bike's last event; None where it has none."""
    episodes: tuple[FaultEpisode, ...]
    jobs: tuple[ComeBackJob, ...]
    counts: FaultCounts
    unpaid: Unpaid
    summary: str
    trends: tuple[Trend, ...]
    """Whether faults are found more and more often on it: by days, and by km where known."""
    getting_worse: str
    """The same in words, with how sure that is."""
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CameBack:
    """A fault that was found again on a bike, as told when it is booked in."""

    position: str
    place: str
    fault: str
    fault_label: str
    times: int
    """How often it was found again after it was put right."""
    times_in_window: int
    last_found_at: datetime
    last_put_right_at: datetime | None
    """Of that last time; None while it is open."""
    last_cause: str | None
    line: str


@dataclass(frozen=True, slots=True)
class CarriedFault:
    """A fault that is open while the bike is booked in."""

    position: str
    place: str
    fault: str
    fault_label: str
    cause: str | None
    verdict: str | None
    found_at: datetime
    count_jobs_carried: int
    line: str


@dataclass(frozen=True, slots=True)
class BookingIn:
    """What whoever books a bike in should know of it."""

    bike: str
    came_back: tuple[CameBack, ...]
    carried: tuple[CarriedFault, ...]
    advice_open: tuple[OpenAdvice, ...]
    lines: tuple[str, ...]
    """All of it in words, a line each; empty where there is nothing to say."""
