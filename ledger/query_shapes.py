"""The shapes of a book's answers. Instants are UTC, distances kilometres."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from ledger.events import Event


@dataclass(frozen=True, slots=True)
class TimelineEntry:
    """One stored event of a bike, and whether it still counts."""

    seq: int
    id: str
    kind: str
    bike: str
    """The tag it was recorded under, where several are one bike."""
    occurred_at: datetime
    recorded_at: datetime
    actor: str
    job: str | None
    position: str | None
    system: str | None
    event: Event | None
    """As stored: free text is sealed; `Book.reveal` opens it. None where something of it is not
    shown to who asked."""
    data: Mapping[str, Any]
    """The payload as plain JSON types, its free text opened; None where the key is gone. Without
    what is not shown to who asked."""
    struck_by: str | None
    """The id of the strike that voids it, as known."""

    @property
    def is_struck(self) -> bool:
        """Whether a strike voids it."""
        return self.struck_by is not None


@dataclass(frozen=True, slots=True)
class BikeRow:
    """One bike in a list."""

    bike: str
    make: str | None
    model: str | None
    bike_kind: str | None
    rider: str | None
    keeper: str | None
    distance_km: Decimal | None
    first_seen_at: datetime
    last_seen_at: datetime
    count_jobs: int
    events_used: int


@dataclass(frozen=True, slots=True)
class PartDistance:
    """How far one part has gone, over every time it was fitted, on every bike."""

    part: str
    bike: str
    """Where it is, or was last."""
    position: str
    make: str | None
    model: str | None
    distance_km: Decimal | None
    """None where the distance of no spell is known."""
    is_complete: bool
    """False where the part was found fitted, or a spell's distance is not known: it has gone
    further."""
    is_fitted: bool
    count_spells: int
    count_bikes: int
    first_seen_at: datetime


@dataclass(frozen=True, slots=True)
class PartSpell:
    """One part at one position of one bike, from fitted to removed."""

    part: str
    bike: str
    position: str
    make: str | None
    model: str | None
    is_found: bool
    started_at: datetime
    ended_at: datetime | None
    """None while it is fitted."""
    end_reason: str | None
    start_km: Decimal | None
    end_km: Decimal | None
    distance_km: Decimal | None


@dataclass(frozen=True, slots=True)
class ShopSummary:
    """How much a book holds."""

    events: int
    """Every stored event, struck ones and those of the book itself too."""
    bikes: int
    riders: int
    """Different riders that bikes have now."""
    jobs: int
    jobs_open: int
    faults_open: int
    first_seen_at: datetime | None
    last_seen_at: datetime | None
