"""What the home page is told: today's bench, what waits for a decision, the month so far."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

Sort = Literal["unsafe", "late", "quote", "advice", "come-back", "clock"]
SORTS: tuple[Sort, ...] = ("unsafe", "late", "quote", "advice", "come-back", "clock")
"""What can wait for a decision, the gravest first."""
Name = Literal["contribution", "ratio", "come_backs", "own_minutes", "own_jobs", "booked_in",
               "quoted"]  # fmt: skip


@dataclass(frozen=True, slots=True)
class OnIt:
    """Somebody at work on a job."""

    mechanic: str
    task: str
    is_paused: bool
    since: datetime
    """When the clock was started, or paused; UTC."""
    is_forgotten: bool
    """It runs since another day; false where that is not the asker's to see."""


@dataclass(frozen=True, slots=True)
class BenchJob:
    """One job open now."""

    bike: str
    name: str | None
    """Make and model of the bike; None where neither is known."""
    job: str
    tier: str | None
    opened_at: datetime
    promised_at: datetime | None
    waiting_for: str | None
    """`answer`, `part` …; None while work goes on."""
    is_late: bool
    """Past its promised time."""
    on_it: tuple[OnIt, ...]


@dataclass(frozen=True, slots=True)
class Waiting:
    """One thing that waits for a decision."""

    sort: Sort
    bike: str
    job: str | None
    position: str | None
    what: str | None
    """The quote's id, the urgency of advice, the code of a fault or quantity, a tier, or a task."""
    answer: str | None
    """Of advice: what was answered last, where that is `no reply`."""
    since: datetime
    """When it was given, advised, found, promised for, opened or started; UTC."""
    who: str | None = None
    """Whose clock it is."""


@dataclass(frozen=True, slots=True)
class MonthSpan:
    """Local days of one month up to a day, and the same days of the month before."""

    since: date
    until: date
    since_before: date
    until_before: date
    is_now: bool
    """False where nothing was recorded since an earlier month: this is the last one with work."""


@dataclass(frozen=True, slots=True)
class MonthFigure:
    """One figure of the month, beside the same days of the month before.

    contribution: minor units a bench hour, of closed jobs; ratio: the middle of actual over quoted
    minutes of closed jobs; come_backs: come-back jobs among those opened; own_minutes and
    own_jobs: the asker's own at the bench; booked_in: jobs opened; quoted: those of them with a
    quote that stands.
    """

    name: Name
    value: float | None
    """None where there is none, or too few to judge."""
    before: float | None
    count: int
    """Jobs it rests on."""
    count_before: int
    fewest: int = 0
    """Jobs below which it is not judged."""

    @property
    def is_too_few(self) -> bool:
        """Whether it rests on too few jobs to judge."""
        return self.count < self.fewest


@dataclass(frozen=True, slots=True)
class Month:
    """The figures of the month that the asker may see."""

    span: MonthSpan
    figures: tuple[MonthFigure, ...]


@dataclass(frozen=True, slots=True)
class MonthJob:
    """One job behind a figure of the month."""

    bike: str
    job: str
    tier: str | None
    opened_at: datetime
    closed_at: datetime | None
    minutes: int | None = None
    """The asker's own, where that is the figure."""


@dataclass(frozen=True, slots=True)
class BikeLine:
    """One bike in a list."""

    bike: str
    make: str | None
    model: str | None
    last_seen_at: datetime

    @property
    def name(self) -> str | None:
        """Make and model; None where neither is known."""
        return " ".join(one for one in (self.make, self.model) if one) or None
