"""The shapes of a book's wear: estimates, dates, readings, parts, rates, gauges, lines."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

LIKELY = 0.5
"""From this chance on of being past its limit, a part is called about whatever its date."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its 80 % interval; None at an end: beyond what can be foretold."""

    low: float | None
    middle: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class DueDates:
    """The days a part reaches its limit: early (one in ten), even odds, late (nine in ten).

    None: beyond HORIZON_DAYS from the day asked.
    """

    early: date | None
    middle: date | None
    late: date | None


@dataclass(frozen=True, slots=True)
class WearReading:
    """One reading of a part."""

    event: str
    measured_at: datetime
    exposure: float
    """km or days of the part until then."""
    exposure_error: float
    value: float | None
    low: float | None
    high: float | None
    gauge: str | None
    flag: str | None
    """Why it was left out of the fit; None where it was not."""


@dataclass(frozen=True, slots=True)
class PartWear:
    """One part (or one sprocket of it) and one quantity, as at an instant."""

    series: str
    part: str
    bike: str
    rider: str | None
    position: str
    quantity: str
    point: str | None
    make: str | None
    model: str | None
    riding: str | None
    unit: str
    exposure_unit: str
    """km, or days where a distance is not known."""
    direction: int
    limit: float | None
    is_fitted: bool
    is_from_new: bool
    fitted_at: datetime
    readings: tuple[WearReading, ...]
    rate: Estimate | None
    """Wear per 1,000 km (or per year), as a positive figure; None where nothing tells one."""
    now: Estimate | None
    """What it would measure now."""
    exposure_now: float | None
    exposure_now_error: float
    chance_past: float | None
    """Chance of being past its limit now."""
    due_in: Estimate | None
    """km (or days) from now until it reaches the limit; 0 where it is past."""
    due_on: DueDates | None

    @property
    def last(self) -> WearReading:
        """The last reading."""
        return self.readings[-1]


def was_past(part: PartWear) -> bool:
    """Say whether the last reading, the whole of it, was at the limit or past it."""
    read, turn = part.last, part.direction
    figure = read.value if read.value is not None else (read.low if turn > 0 else read.high)
    return figure is not None and part.limit is not None and turn * (figure - part.limit) >= 0


@dataclass(frozen=True, slots=True)
class RateFigure:
    """The usual rate of one family at one level of what it is pooled over."""

    family: str
    factor: str
    """"all", riding, model, position or point."""
    level: str
    rate: Estimate
    """Of a part of that level, per 1,000 km or per year: 80 % of such parts lie inside."""
    count_series: int
    exposure_unit: str


@dataclass(frozen=True, slots=True)
class GaugeFigure:
    """How one gauge errs at one family, measured from the book."""

    gauge: str
    family: str
    bias: float
    """What it adds, against the other gauges and the figure when new."""
    bias_error: float
    gain: float
    """By what share it shows wear too large."""
    error: float
    """Standard deviation of one reading."""
    count: int
    """Readings it was measured from."""
    exposure_unit: str
    """km, or days: what the readings it was measured from are counted in."""


@dataclass(frozen=True, slots=True)
class BandPoint:
    """The fitted line at one exposure, with its 80 % band."""

    exposure: float
    low: float
    middle: float
    high: float
