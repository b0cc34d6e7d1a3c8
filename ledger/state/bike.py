"""What one bike is after some of its events: frozen, and cheap to take one event further."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any

from ledger.events.job import Line
from ledger.events.kinds import LabourStarted, PartFitted
from ledger.view import OpenAdvice, OpenFault, OpenFinding, Reading, Setting

Place = tuple[str, str, str | None]
"""Position, quantity, point: what a reading or a setting is of."""


@dataclass(frozen=True, slots=True)
class Fitted:
    """The part at a position, as its fitting told."""

    part: str
    event: PartFitted
    distance_km: Decimal | None
    """The bike's distance when it was fitted; None where no reading came before."""


@dataclass(frozen=True, slots=True)
class Job:
    """A visit as far as it has gone."""

    job: str
    tier: str | None = None
    opened_at: datetime | None = None
    promised_at: datetime | None = None
    ceiling_minor: int | None = None
    may_approve: tuple[str, ...] = ()
    waiting_for: str | None = None
    is_closed: bool = False


@dataclass(frozen=True, slots=True)
class Quote:
    """A price named in a job."""

    quote: str
    job: str | None
    answers: Mapping[str, str | None]
    """Line ids with the last answer to each, None before any."""
    lines: Mapping[str, Line]
    """Each line without its description; none any more once the job is closed."""
    replaced_by: str | None = None
    """The newer quote that stands in its place; its own lines count no more."""

    @property
    def gross_minor(self) -> dict[str, int]:
        """Each line with its tax."""
        return {name: line.net_minor + (line.tax_minor or 0) for name, line in self.lines.items()}


@dataclass(frozen=True, slots=True)
class Unsafe:
    """A finding past a safety limit that still stands."""

    position: str
    job: str | None
    event: str


@dataclass(frozen=True, slots=True)
class Advice:
    """Advice given, in which job."""

    job: str | None
    given: OpenAdvice


@dataclass(frozen=True)
class BikeState:
    """One bike after the live events applied so far; its mappings are never changed."""

    shop: str
    bike: str
    last: tuple[datetime, int] | None = None
    """(occurred_at, seq) of the last event."""
    events_used: int = 0
    registered: Mapping[str, datetime] = field(default_factory=dict)
    """When each of the bike's tags was registered."""
    speeds: int | None = None
    rider: str | None = None
    keeper: str | None = None
    riding: str | None = None
    distance_km: Decimal | None = None
    distance_at: datetime | None = None
    shown_highest_km: Decimal = Decimal(0)
    """The highest the computer that is on the bike now has shown."""
    earlier_computers_km: Decimal = Decimal(0)
    """The sum of the highest each earlier computer showed."""
    fitted: Mapping[str, Fitted] = field(default_factory=dict)
    readings: Mapping[Place, Reading] = field(default_factory=dict)
    settings: Mapping[Place, Setting] = field(default_factory=dict)
    disturbed: Mapping[str, str] = field(default_factory=dict)
    """Torqued positions disturbed and not torqued since, with the event that last did it."""
    faults: Mapping[tuple[str, str], OpenFault] = field(default_factory=dict)
    findings: Mapping[str, OpenFinding] = field(default_factory=dict)
    """Due or unsafe with no fault named, by position."""
    unsafe: Mapping[tuple[str, ...], Unsafe] = field(default_factory=dict)
    advice: Mapping[str, Advice] = field(default_factory=dict)
    """Everything ever advised, by its event."""
    advice_answers: Mapping[str, str] = field(default_factory=dict)
    """The last answer to each, by the advice's event."""
    jobs: Mapping[str, Job] = field(default_factory=dict)
    """Every visit ever, by its job id."""
    quotes: Mapping[str, Quote] = field(default_factory=dict)
    running: Mapping[str, LabourStarted] = field(default_factory=dict)
    """Each mechanic's clock that runs on this bike, by mechanic."""

    def standing_quotes(self, job: str | None) -> list[Quote]:
        """Give the quotes of a job that no newer one replaces."""
        return [
            quote
            for quote in self.quotes.values()
            if quote.job == job and quote.replaced_by is None
        ]

    def quoted_lines(self, job: str | None) -> dict[str, Quote]:
        """Give, for each line ever quoted in a job, its quote; of several the one that stands."""
        of_job = [quote for quote in self.quotes.values() if quote.job == job]
        ordered = sorted(of_job, key=lambda quote: quote.replaced_by is None)
        return {line: quote for quote in ordered for line in quote.answers}

    def charged_line(self, job: str | None, charge: Line) -> Line | None:
        """Give the quoted line that a line charges; None for goodwill, and where there is none."""
        if charge.is_goodwill or charge.quote_line is None:
            return None
        quote = self.quoted_lines(job).get(charge.quote_line)
        return None if quote is None else quote.lines.get(charge.quote_line)

    def changed(self, changes: Mapping[str, Any]) -> BikeState:
        """Give the state with some fields changed.

        Copies the fields as a whole, which is several times faster than dataclasses.replace.
        """
        after = object.__new__(BikeState)
        after.__dict__.update(self.__dict__)
        after.__dict__.update(changes)
        return after


def start(shop: str, bike: str) -> BikeState:
    """Give the state of a bike of which nothing is known."""
    return BikeState(shop, bike)


def made_up_part(event_id: str) -> str:
    """Give the id of a part that was fitted without one: always the same for one event."""
    return f"part-{event_id}"
