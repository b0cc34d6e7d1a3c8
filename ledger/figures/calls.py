"""The shapes of a call list: a call, its bikes, what is due on them, whom to talk to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING, Literal

from ledger.figures.wear_shapes import DueDates, Estimate, WearReading

if TYPE_CHECKING:
    from ledger.figures.due_calls import Bikes, Calls

Standing = Literal["past", "unclear", "coming"]
"""Past its limit by now, more likely than not; not read for so long that no date tells anything;
or due within the days asked."""
STANDINGS: tuple[Standing, ...] = ("past", "unclear", "coming")
"""In the order they are called about."""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody a bike belongs to; name and contact only where they agreed to be contacted."""

    rider: str | None
    """The opaque id; None where nobody is known."""
    is_registered: bool
    may_contact: bool
    name: str | None = None
    phone: str | None = None
    email: str | None = None


@dataclass(frozen=True, slots=True)
class OpenJob:
    """A visit that has not ended."""

    job: str
    tier: str | None
    opened_at: datetime
    waiting_for: str | None


@dataclass(frozen=True, slots=True)
class DuePart:
    """One thing that is due on one bike: what was read of a part, or the part's age."""

    part: str
    position: str
    place: str
    """What the bench calls the position, the point on it in brackets."""
    point: str | None
    quantity: str
    quantity_label: str
    make: str | None
    model: str | None
    unit: str
    limit: float
    direction: int
    """+1: past the limit above it; -1: below it."""
    standing: Standing
    was_past: bool
    """The last reading, the whole of it, was at the limit or past it."""
    fitted_at: datetime
    """When it was first fitted; first seen where it was found."""
    decides_safety: bool
    """A figure here may decide whether somebody gets hurt."""
    reading: WearReading | None
    """The last one; None for an age."""
    count_readings: int
    exposure_unit: str
    """km, or days where a distance is not known."""
    chance_past: float | None
    """Chance of being past its limit now; None where nothing tells how it wears."""
    now: Estimate | None
    """What it would measure now, or its age in days."""
    on: DueDates | None
    """When it reaches its limit."""
    beyond: float | None
    """km (or days) past its limit, by the middle estimate; None where it is not."""
    days_beyond: float | None
    """The same in days of riding."""

    @property
    def week(self) -> date | None:
        """The Monday of the week it falls due in; None where it is past or nothing tells."""
        day = self.on.middle if self.on else None
        if self.standing != "coming" or day is None:
            return None
        return day - timedelta(days=day.weekday())

    @property
    def order(self) -> tuple[int, float, float]:
        """What comes first: past by chance and how long, then unclear, then by date."""
        chance = 1.0 if self.chance_past is None else self.chance_past
        if self.standing == "coming" and self.on and self.on.middle:
            return STANDINGS.index("coming"), self.on.middle.toordinal(), -chance
        return STANDINGS.index(self.standing), -round(chance, 2), -(self.days_beyond or 0.0)


@dataclass(frozen=True, slots=True)
class DueBike:
    """One bike with something due on it, what is most pressing first."""

    bike: str
    make: str | None
    model: str | None
    rider: Person
    keeper: Person
    last_seen_at: datetime
    jobs: tuple[OpenJob, ...]
    parts: tuple[DuePart, ...]


@dataclass(frozen=True, slots=True)
class Call:
    """One keeper to be called, about all of their bikes at once."""

    keeper: Person
    bikes: tuple[DueBike, ...]
    message: str | None
    """Ready wording; None where there is no consent to send one."""

    @property
    def first(self) -> DuePart:
        """What is most pressing."""
        return self.bikes[0].parts[0]


@dataclass(frozen=True, slots=True)
class DueList:
    """Whom to call, as at an instant, the most pressing first; and what is on the bench."""

    as_at: datetime
    today: date
    """The same day in the book's time zone."""
    within_days: int
    calls: Calls
    """Each is made when it is looked at; what is counted of all of them is in its arrays."""
    bench: Bikes
    """Bikes with a job open: told to the mechanic, not called about."""
    count_calls: int
    """All there are, whatever the limit on how many are given."""
    seen_within_days: int | None
    """Bikes seen within so many days are called about; None for all bikes."""
    count_long_unseen: int
    """Bikes with something due that were not seen since `seen_since`, in no call."""

    @property
    def seen_since(self) -> date | None:
        """The first day of those on which a bike was seen that is called about."""
        within = self.seen_within_days
        return None if within is None else self.today - timedelta(days=within)
