"""What the bench page shows of one bike: plain frozen values, figures canonical, instants UTC.

Positions, quantities and faults are codes; whoever shows them has the words. Free text is opened,
or None where its key is gone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Literal

from ledger.bench.items import (
    GaugeShown,
    HiddenBy,
    HiddenState,
    Judged,
    LimitShown,
    Look,
    MeasureItem,
    PressureItem,
    PressureSource,
    Rest,
    SystemLook,
    TorqueItem,
    Uncovered,
)
from ledger.photos import Photo
from ledger.quotes import QuotedLine
from ledger.view import FittedPart, OpenAdvice, OpenFault, OpenFinding, OpenJob, Reading, Setting

__all__ = [
    "Bench",
    "BikeAtBench",
    "EntryAtBench",
    "FoundBike",
    "GaugeShown",
    "HandBack",
    "HiddenBy",
    "HiddenState",
    "Holder",
    "JobAtBench",
    "Judged",
    "LimitShown",
    "Look",
    "MeasureItem",
    "OwnClock",
    "Place",
    "PressureItem",
    "PressureSource",
    "Rest",
    "StandingNote",
    "StepAt",
    "StepState",
    "SystemLook",
    "TorqueItem",
    "Uncovered",
    "UnsafeStanding",
]

StepState = Literal["done", "now", "left out", "to come"]


@dataclass(frozen=True, slots=True)
class BikeAtBench:
    """The bike on the stand. What nobody knows is None: that is ordinary."""

    tag: str
    other_tags: tuple[str, ...]
    """Tags that were joined to it, sorted."""
    make: str | None
    model: str | None
    bike_kind: str | None
    wheel_size: str | None
    description: str | None
    frame_number: str | None
    is_e_bike: bool
    speeds: int | None
    riding: str | None
    first_used_on: str | None
    """None: its history before the book is not known."""
    rider: str | None
    keeper: str | None
    distance_km: Decimal | None
    """None where no distance was ever read."""
    distance_at: datetime | None
    registered_at: datetime | None


@dataclass(frozen=True, slots=True)
class JobAtBench:
    """The visit that is worked on."""

    job: str
    tier: str | None
    opened_at: datetime
    opened_seq: int
    """The seq of its opening: `came_back` is told as the book stood then."""
    promised_at: datetime | None
    waiting_for: str | None
    """Answer, part, payment or other, while it is held."""
    complaint: str | None
    came_with: str | None
    ceiling_minor: int | None
    currency: str | None


@dataclass(frozen=True, slots=True)
class StepAt:
    """One step of the walk and how far it is."""

    key: str
    title: str
    state: StepState
    count_done: int
    """Items of it that this job has, or events where it has no items."""
    count_items: int | None
    """None where it is not gone through item by item."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a walk stands: the step, and the item within it where it has items.

    An item is a position (inspect, torque, pressures), `position quantity point` (measure) or
    the id of a quoted line (answer).
    """

    step: str
    item: str | None = None


@dataclass(frozen=True, slots=True)
class StandingNote:
    """A note shown whenever its position is opened."""

    event: str
    position: str
    text: str | None
    """None where the key is gone."""
    actor: str
    noted_at: datetime


@dataclass(frozen=True, slots=True)
class UnsafeStanding:
    """An unsafe finding that nothing has put right."""

    position: str
    found: tuple[str, ...]
    """The events that found it."""
    is_of_this_job: bool
    told: str | None
    """The advice event that told the keeper so in this job."""
    answer: str | None
    """The keeper's last answer to it; no reply is none."""

    @property
    def is_settled(self) -> bool:
        """Whether a job may be closed over it (with a warning): told, and answered."""
        return self.told is not None and self.answer in ("yes", "no", "later")


@dataclass(frozen=True, slots=True)
class HandBack:
    """What stands between the work and the door."""

    unsafe: tuple[UnsafeStanding, ...]
    past_limits: tuple[Reading, ...]
    """Readings that are due or unsafe."""
    untorqued: tuple[str, ...]
    rechecks: tuple[str, ...]
    """Offered to be rechecked: everything worked on in this job, the brakes and wheels first."""
    faults: tuple[OpenFault, ...]
    is_released: bool
    charges: tuple[QuotedLine, ...]
    """What closing charges: every line answered with yes."""
    unanswered: tuple[QuotedLine, ...]
    """Quoted lines without a yes or no."""
    clocks: tuple[str, ...]
    """Mechanics whose clock runs on this bike: a job is closed after they stop."""
    stops: tuple[str, ...]
    """What keeps the job from being closed, in a sentence each; empty: one press closes it."""
    tells: tuple[str, ...]
    """What closing warns of, in a sentence each; nothing here says that a bike is safe."""


@dataclass(frozen=True, slots=True)
class EntryAtBench:
    """A live event of this job (or, where none is open, of the bike)."""

    event: str
    seq: int
    kind: str
    step: str
    """The step of the walk it belongs to; empty for none."""
    actor: str
    is_own: bool
    occurred_at: datetime
    recorded_at: datetime
    position: str | None
    data: Mapping[str, Any]
    """The payload as plain JSON types, its text opened."""


@dataclass(frozen=True, slots=True)
class Holder:
    """Another mechanic who is at this bike: a clock that runs, or entries of the last hours."""

    mechanic: str
    running_since: datetime | None
    """Their clock runs on this bike since then; None where none does."""
    task: str | None
    at: tuple[tuple[str, datetime], ...]
    """(position, when) of their entries of this job, the newest first, each position once."""
    last_at: datetime
    """Their last event here, or the start of their clock."""


@dataclass(frozen=True, slots=True)
class OwnClock:
    """The asker's clock on this bike."""

    job: str
    task: str
    minutes_kind: str
    since: datetime


@dataclass(frozen=True, slots=True)
class FoundBike:
    """One bike that words may mean."""

    tag: str
    other_tags: tuple[str, ...]
    make: str | None
    model: str | None
    bike_kind: str | None
    description: str | None
    rider: str | None
    """The rider's id."""
    rider_name: str | None
    last_seen_at: datetime
    open_job: str | None
    matched: tuple[str, ...]
    """Where the words were found: tag, make, model, description, rider."""


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything a page needs of one bike on the stand, in one call."""

    bike: BikeAtBench
    actor: str
    asked_at: datetime
    size: int
    """Events in the book when this was read."""
    jobs: tuple[OpenJob, ...]
    """Every open job of the bike, the one opened last at the end."""
    job: JobAtBench | None
    """The one that is worked on; None where none is open."""
    steps: tuple[StepAt, ...]
    at: Place
    """Where the walk goes on."""
    notes: Mapping[str, tuple[StandingNote, ...]]
    """By position, newest first."""
    fitted: tuple[FittedPart, ...]
    faults: tuple[OpenFault, ...]
    findings: tuple[OpenFinding, ...]
    """Judged due or unsafe, with no fault named."""
    advice: tuple[OpenAdvice, ...]
    systems: tuple[SystemLook, ...]
    measures: tuple[MeasureItem, ...]
    torques: tuple[TorqueItem, ...]
    torqued: tuple[Setting, ...]
    """Torques set in this job that still stand."""
    pressures: tuple[PressureItem, ...]
    quoted: tuple[QuotedLine, ...]
    """Lines of this job's standing quotes with the last answer; what they cost the shop is there
    only for who sees money."""
    hand_back: HandBack
    entries: tuple[EntryAtBench, ...]
    """Newest first; without what is not shown to who asks."""
    others: tuple[Holder, ...]
    clock: OwnClock | None
    photos: tuple[Photo, ...]
    """Of the whole bike, newest first."""
