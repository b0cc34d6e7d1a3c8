"""What the rules know of the book beyond the bike at hand."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence, Set
from dataclasses import dataclass, field
from datetime import datetime
from zoneinfo import ZoneInfo

from ledger.events import Event
from ledger.events.shop import GaugeRegistered
from ledger.money import Rounding, written
from ledger.vocabulary import Vocabulary


@dataclass(frozen=True)
class BookFacts:
    """The book as a commit finds it, the commit's own events of the book included."""

    vocabulary: Vocabulary
    now: datetime
    time_zone: ZoneInfo
    currency: str
    locale: str = "en"
    """How amounts are written in messages."""
    units: Mapping[str, str] = field(default_factory=dict)
    """The canonical unit each quantity was first told in, by terms that were struck too."""
    mechanics: Set[str] = frozenset()
    gauges: Mapping[str, GaugeRegistered] = field(default_factory=dict)
    roundings: Sequence[tuple[str, Rounding]] = ()
    """From which day on money is rounded how, as last told for it; half even before any."""
    labels: Mapping[str, str] = field(default_factory=dict)
    """How to name an event to whoever entered it (`event 3`), by event id."""
    bikes: Container[str] | None = None
    """Every tag in the book; None where the caller does not know."""
    part_events: Mapping[str, Sequence[Event]] = field(default_factory=dict)
    """By part id: the live `part_fitted` and `part_removed` events that name it, of all bikes
    (a `part_fitted` names the part it `replaces` too), the commit's own included."""
    labour_events: Mapping[str, Sequence[Event]] = field(default_factory=dict)
    """By mechanic: the live `labour_started` and `labour_stopped` events, of all bikes."""
    job_bikes: Mapping[str, str] = field(default_factory=dict)
    """The bike tag of each job the commit's events name, where the book has it."""
    targets: Mapping[str, Event] = field(default_factory=dict)
    """Stored events that the commit's strikes and restores name, by id."""
    struck: Set[str] = frozenset()
    """Which of the targets are struck already."""
    commit_events: Sequence[Event] = ()
    """The commit's own events, of all bikes."""
    is_brought_in: bool = False
    """Records of another time brought in whole: rules of entry are not held against them."""

    def money(self, minor: int) -> str:
        """Give an amount for a message, as the shop's locale writes it: `€12.50`."""
        return written(minor, self.currency, self.locale)

    def day_of(self, moment: datetime) -> str:
        """Give the local day of an instant: `2026-03-01`."""
        return moment.astimezone(self.time_zone).date().isoformat()

    def rounding_on(self, day: str) -> Rounding:
        """Give how money is rounded on a day."""
        known = [rounding for since, rounding in self.roundings if since <= day]
        return known[-1] if known else "half even"
