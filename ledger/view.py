"""What a bike looks like as at a date: the one shape that every fold gives.

The SQL fold (`ledger.queries.bike_view`) and the plain Python fold (`ledger.state.fold`) both
end here, so they can be held equal. Figures are exact decimals in canonical units; instants are
UTC. Lists are sorted by their keys.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from ledger.events.types import format_moment


@dataclass(frozen=True, slots=True, order=True)
class FittedPart:
    """The part at a position. Key: position."""

    position: str
    part: str
    make: str | None
    model: str | None
    fitted_at: datetime | None
    """None where it was found on the bike: never day zero."""
    distance_since_fitted_km: Decimal | None
    days_since_fitted: int | None


@dataclass(frozen=True, slots=True)
class Reading:
    """The last reading of what is there now. Key: position, quantity, point."""

    position: str
    quantity: str
    point: str | None
    value: Decimal | None
    """None where the reading is an interval."""
    value_low: Decimal | None
    value_high: Decimal | None
    unit: str
    measured_at: datetime
    limit: Decimal | None
    verdict: str | None
    event: str


@dataclass(frozen=True, slots=True)
class Setting:
    """The last setting that nothing has voided since. Key: position, quantity, point."""

    position: str
    quantity: str
    point: str | None
    value: Decimal
    unit: str
    set_at: datetime
    event: str


@dataclass(frozen=True, slots=True)
class OpenFault:
    """A fault found and not put right. Key: position, fault."""

    position: str
    fault: str
    cause: str | None
    verdict: str | None
    found_at: datetime
    event: str


@dataclass(frozen=True, slots=True)
class OpenFinding:
    """A position judged due or unsafe with no fault named, and nothing since. Key: position."""

    position: str
    verdict: str
    found_at: datetime
    event: str


@dataclass(frozen=True, slots=True)
class OpenAdvice:
    """Advice the keeper has not answered with yes or no. Key: event."""

    position: str
    verdict: str
    urgency: str
    advised_at: datetime
    answer: str | None
    event: str


@dataclass(frozen=True, slots=True)
class OpenJob:
    """A visit that has not ended. Key: job."""

    job: str
    tier: str | None
    opened_at: datetime
    promised_at: datetime | None
    waiting_for: str | None


@dataclass(frozen=True, slots=True)
class BikeView:
    """One bike as at one instant, as the book knew it up to one seq."""

    shop: str
    bike: str
    as_at: datetime
    as_known: int
    """The last seq taken into account."""
    rider: str | None
    keeper: str | None
    riding: str | None
    distance_km: Decimal | None
    fitted: tuple[FittedPart, ...]
    readings: tuple[Reading, ...]
    settings: tuple[Setting, ...]
    faults_open: tuple[OpenFault, ...]
    findings_open: tuple[OpenFinding, ...]
    """What was judged due or unsafe without a fault's name; with `faults_open` and the verdicts of
    `readings`, all that stands."""
    advice_open: tuple[OpenAdvice, ...]
    jobs_open: tuple[OpenJob, ...]
    events_used: int


def _number(value: Decimal | None) -> float | int | None:
    if value is None:
        return None
    return int(value) if value == value.to_integral_value() else float(value)


def plain_value(value: Any) -> Any:
    """Give a value as plain JSON types: instants as text, exact figures as numbers."""
    if isinstance(value, datetime):
        return format_moment(value)
    if isinstance(value, Decimal):
        return _number(value)
    if isinstance(value, tuple):
        return [plain_value(item) for item in value]
    if hasattr(value, "__dataclass_fields__"):
        return {name: plain_value(getattr(value, name)) for name in value.__dataclass_fields__}
    return value


def view_json(view: BikeView) -> dict[str, Any]:
    """Give the view as plain JSON types: the form `lockring state --json` prints."""
    plain = plain_value(view)
    assert isinstance(plain, dict)
    return plain
