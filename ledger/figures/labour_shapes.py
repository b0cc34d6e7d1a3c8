"""What is said about minutes against quote: ratios, variances, work found late, one job's steps.

Minutes are whole, money whole minor units of the book's currency, net of tax. Figures are of jobs
closed in the period. The words are defined in DEVELOPERS.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

LabourBy = Literal["tier", "task", "month", "kind"]
LABOUR_BY: tuple[LabourBy, ...] = ("tier", "task", "month", "kind")
FEWEST_RATIOS = 8
"""Jobs below which nothing is said of a ratio."""


@dataclass(frozen=True, slots=True)
class Period:
    """Local days that figures are of, both included."""

    since: date
    until: date

    @property
    def days(self) -> int:
        """How many days."""
        return (self.until - self.since).days + 1


@dataclass(frozen=True, slots=True)
class KindMinutes:
    """Minutes at the bench by what they were for."""

    quoted: int = 0
    found_later: int = 0
    come_back: int = 0
    goodwill: int = 0

    @property
    def bench(self) -> int:
        """All of them."""
        return self.quoted + self.found_later + self.come_back + self.goodwill


@dataclass(frozen=True, slots=True)
class RatioSpread:
    """Actual over quoted minutes of jobs (or of a task in jobs) that have both."""

    count: int
    median: float | None
    """None, as all that follows, where there is none."""
    quarter_low: float | None
    quarter_high: float | None
    tenth_low: float | None
    """Tenth percentile."""
    tenth_high: float | None
    """Ninetieth percentile."""
    count_over: int
    """Over by more than 20 %."""
    share_over: float | None
    share_over_low: float | None
    """95 % interval (Wilson)."""
    share_over_high: float | None

    @property
    def is_too_few(self) -> bool:
        """Whether there are too few to judge."""
        return self.count < FEWEST_RATIOS


@dataclass(frozen=True, slots=True)
class LabourVariances:
    """Standard-costing variances; positive is unfavourable. total = rate + efficiency, exactly."""

    count: int
    """Jobs with quoted minutes, minutes worked on them, and a wage told."""
    standard_minutes: int
    actual_minutes: int
    """Of the kind quoted."""
    standard_minor: int
    """Standard minutes at the plain mean wage in force on the day of closing."""
    actual_minor: int
    """What the actual minutes cost in wages."""
    rate_minor: int
    efficiency_minor: int
    total_minor: int
    minutes_without_wage: int
    """Of the actual minutes, those of mechanics with no wage told: they cost nothing here."""


@dataclass(frozen=True, slots=True)
class LabourRow:
    """Minutes against quote of one tier, task, month or kind of bike; or of everything."""

    key: str | None
    """A month is `2026-03`; None: no tier told, no kind of bike told, or everything."""
    label: str
    count_jobs: int
    """Closed in the period, with minutes quoted or worked (of this task)."""
    ratio: RatioSpread
    minutes: KindMinutes
    """Worked."""
    quoted_minutes: int
    """Answered yes, not found later; by task also of jobs that its ratio leaves out."""
    found_later_quoted_minutes: int
    variances: LabourVariances
    net_labour_minor: int | None
    """Labour charged; None by task, whose lines cannot be told from the tier's own price."""
    effective_rate_minor: float | None
    """Labour charged an hour at the bench; None where there is none of either."""
    posted_rate_minor: int | None
    """In force on the row's last day; None where none is told."""
    count_found_later: int
    """Jobs with work found after the first quote, quoted or worked."""
    found_later_share: float | None
    """Of the minutes worked."""
    verdict: str
    """The ratio in words, or that there are too few to judge."""


@dataclass(frozen=True, slots=True)
class FoundLaterRow:
    """Work found after the first quote, by task (a tier's own code where its tasks are untold)."""

    task: str
    label: str
    count_jobs: int
    quoted_minutes: int
    """Of found-later quotes answered yes."""
    minutes: int
    """Worked as found later."""


@dataclass(frozen=True, slots=True)
class FoundLater:
    """Work found after the first quote, in jobs closed in the period."""

    count_jobs: int
    count_jobs_closed: int
    share: float | None
    """Jobs with any, of all closed."""
    quoted_minutes: int
    """Answered yes."""
    minutes: int
    net_yes_minor: int
    net_not_yes_minor: int
    """Offered and declined, put off, or never answered."""
    rows: tuple[FoundLaterRow, ...]
    """Most minutes first."""
    line: str


@dataclass(frozen=True, slots=True)
class LabourJob:
    """One job behind a row."""

    bike: str
    job: str
    tier: str | None
    tier_label: str
    closed_at: datetime
    quoted_minutes: int
    """Of the row's task, where the row is a task's."""
    minutes: KindMinutes
    ratio: float | None
    """None where nothing was quoted or worked."""
    total_variance_minor: int | None
    """None where it is in no variance; by task too."""
    minutes_without_wage: int


@dataclass(frozen=True, slots=True)
class WaterfallStep:
    """One step from quoted to actual."""

    label: str
    kind: Literal["start", "task", "found later", "come-back", "goodwill", "charge", "end"]
    key: str | None
    """The task, or the line's code."""
    change: int
    """Minutes, or minor units; of start and end, the whole."""
    start: int
    """Where the bar begins; 0 of start and end."""
    stop: int
    note: str
    """What stands behind it: `quoted 40, worked 52`; empty where nothing is to be said."""


@dataclass(frozen=True, slots=True)
class QuotedLine:
    """One line of a quote of the job, with what became of it."""

    quote: str
    line: str
    line_type: str
    code: str
    label: str
    position: str | None
    minutes: int | None
    net_minor: int
    form: str
    """`fixed` or `up to`."""
    is_found_later: bool
    is_standing: bool
    """False: a later quote took this one's place."""
    answer: str | None
    """The last live one; None: never answered."""
    answered_at: datetime | None
    charged_minor: int | None
    """None: not charged (yet)."""


@dataclass(frozen=True, slots=True)
class JobWaterfall:
    """One job from quoted to actual, in minutes and in money."""

    bike: str
    job: str
    tier: str | None
    tier_label: str
    closed_at: datetime | None
    """None while it is open."""
    minutes: tuple[WaterfallStep, ...]
    """From quoted minutes to bench minutes."""
    money: tuple[WaterfallStep, ...]
    """From the net of the first quotes, answered yes, to the net charged; while it is open,
    to the net of everything answered yes."""
    lines: tuple[QuotedLine, ...]
    front: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LabourCover:
    """What the figures rest on, and what they leave out."""

    count_closed: int
    """Jobs closed in the period."""
    count_open: int
    """Open as at the instant: in no figure."""
    count_unquoted: int
    """Closed with no minutes quoted and answered yes: in no ratio."""
    count_unworked: int
    """Closed with quoted minutes and none worked on them."""
    minutes_unsplit: int
    """Quoted minutes of tiers whose tasks no terms told: left out by task."""
    minutes_without_wage: int
    minutes_without_task: int
    """Worked on no task: left out by task."""
