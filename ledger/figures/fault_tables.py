"""The tables that every figure about faults that come back is worked out from.

Each is read at the first question and kept. Instants are UTC, minutes whole, distances
kilometres; null is "not known", never zero. Joined tags are one bike, under the first of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from typing import TYPE_CHECKING, Any, Protocol

import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.figures.come_backs import WindowAsked
from ledger.kept import words_known
from ledger.queries import whole_table
from ledger.vocabulary import Vocabulary

if TYPE_CHECKING:
    from ledger.figures.fault_codes import FaultCodes
    from ledger.figures.fault_repairs import Held
    from ledger.figures.matched_marks import MatchedMarks

_OF_JOBS = "where job in (select unnest($jobs))"
_AT_POSITIONS = "where position in (select unnest($positions))"
_OF_KINDS = "where minutes_kind in (select unnest($kinds))"
UNPAID_KINDS = ("come-back", "goodwill")
"""What labour is booked as that nobody pays for."""
MOMENT = pa.timestamp("us", tz="UTC")

REPAIRS = pa.schema(
    [
        pa.field("bike", pa.string(), nullable=False),
        pa.field("position", pa.string(), nullable=False),
        pa.field("system", pa.string(), nullable=False),
        pa.field("fault", pa.string(), nullable=False),
        ("cause", pa.string()),
        pa.field("found_seq", pa.int64(), nullable=False),
        pa.field("seq", pa.int64(), nullable=False),
        pa.field("kind", pa.string(), nullable=False),
        ("treatment", pa.string()),
        ("job", pa.string()),
        pa.field("actor", pa.string(), nullable=False),
        ("tier", pa.string()),
        ("riding", pa.string()),
        ("make", pa.string()),
        ("model", pa.string()),
        pa.field("put_right_at", MOMENT, nullable=False),
        ("again_at", MOMENT),
        pa.field("observed_until", MOMENT, nullable=False),
        pa.field("days_followed", pa.float64(), nullable=False),
        ("km_followed", pa.float64()),
        pa.field("window_days", pa.int64(), nullable=False),
        pa.field("window_km", pa.float64(), nullable=False),
        pa.field("is_found_again", pa.bool_(), nullable=False),
        pa.field("is_come_back", pa.bool_(), nullable=False),
        pa.field("is_mature", pa.bool_(), nullable=False),
    ]
)
"""One episode of a fault that was put right, in no promised order.

- found_seq: of the episode (with bike, position and fault its key); seq: of the repair.
- kind, treatment, job, actor, tier, riding, make, model: of the repair (the part that sat there,
  or the new one).
- again_at: when the fault was first found again after this repair, within the window or not;
  null where it was not.
- observed_until: the last live event of the bike. days_followed, km_followed: from the repair
  until it was found again, else until then.
- is_come_back: found again within the window in force on that day (or the one asked for), or said
  or judged so. is_mature: it came back, or its window had run out by the end of observation.
  A rate is of the mature ones: count of is_come_back over count of is_mature.
"""

SPELLS = pa.schema(
    [
        pa.field("part", pa.string(), nullable=False),
        pa.field("bike", pa.string(), nullable=False),
        pa.field("position", pa.string(), nullable=False),
        ("make", pa.string()),
        ("model", pa.string()),
        pa.field("is_found", pa.bool_(), nullable=False),
        pa.field("started_at", MOMENT, nullable=False),
        pa.field("ended_at", MOMENT, nullable=False),
        pa.field("is_ended", pa.bool_(), nullable=False),
        ("end_reason", pa.string()),
        ("distance_km", pa.float64()),
    ]
)
"""One part at one position of one bike, from fitted (found: first seen) until it was removed or
replaced there (is_ended), else until the bike's last live event; in no promised order.

distance_km: what the bike rode meanwhile, interpolated between its distance readings and beyond
them by its own pace; null where not known.
"""

BIKES = pa.schema(
    [
        pa.field("bike", pa.string(), nullable=False),
        ("riding", pa.string()),
        ("bike_kind", pa.string()),
        ("speeds", pa.int64()),
        ("first_closed_at", MOMENT),
        pa.field("observed_until", MOMENT, nullable=False),
    ]
)
"""One bike with a live event: its kind of riding, what it is, when its first job was closed (null:
none was), and its last live event, where observation ends."""


class Matched(Protocol):
    """What the matching of faults of a book gives (`ledger.figures.matching`)."""

    @property
    def found(self) -> pa.Table:
        """One episode a row, with what its own marks tell."""

    @property
    def episodes(self) -> pa.Table:
        """The same rows, with what else was known then: tier, riding, part, km."""

    @property
    def marks(self) -> MatchedMarks:
        """The same, as the marks alone tell."""

    @property
    def again(self) -> pa.Table:
        """One found-again a row, with what its marks tell."""

    @property
    def repeats(self) -> pa.Table:
        """The same rows, with what else was known then."""

    @property
    def jobs(self) -> pa.Table:
        """One link of a job with the job it answers a row."""


@dataclass(frozen=True)
class FaultTables:
    """A book's faults, work and parts as at an instant, as known to a seq."""

    book: Book
    as_at: datetime
    today: date
    """The same day in the book's time zone."""
    known_seq: int
    window: WindowAsked | None
    """The one asked for in place of the shop's own; None for the shop's own."""
    matching: Matched
    bike: str | None = None
    """The one bike whose events alone were read; None for the whole book."""
    given: Mapping[str, pa.Table] = field(default_factory=dict)
    """Relations as at the same instant and seq, by name: read already, or when asked for."""
    kept: Callable[[str], pa.Table | None] = lambda name: None
    """Gives a table that is kept beside the book, as at the same instant and seq; None where it
    is not."""

    @cached_property
    def words(self) -> Vocabulary:
        """The vocabulary as the book knew it."""
        return words_known(self.book, self.known_seq)

    @property
    def found(self) -> pa.Table:
        """One episode of a fault a row, with what its own marks tell: soon there."""
        return self.matching.found

    @property
    def episodes(self) -> pa.Table:
        """The same rows with what else was known then, as `matching` gives them."""
        return self.matching.episodes

    @property
    def again(self) -> pa.Table:
        """One fault found again a row, with what its marks tell: soon there."""
        return self.matching.again

    @property
    def repeats(self) -> pa.Table:
        """The same rows with what else was known then, as `matching` gives them."""
        return self.matching.repeats

    @property
    def jobs(self) -> pa.Table:
        """One job that came back, or was said to, a row, as `matching` gives it."""
        return self.matching.jobs

    @cached_property
    def held(self) -> Held:
        """How the repairs held: what REPAIRS says of it, soon there."""
        from ledger.figures.fault_repairs import held_of

        return held_of(self)

    @cached_property
    def repairs(self) -> pa.Table:
        """REPAIRS."""
        from ledger.figures.fault_repairs import repairs_of

        return repairs_of(self)

    @cached_property
    def spells(self) -> pa.Table:
        """SPELLS: which part sat where from when to when, what exposure and events of a model
        are counted over."""
        from ledger.figures.fault_spells import spells_of

        kept = self.kept("watched_spells")
        return spells_of(self.read) if kept is None else kept.select(SPELLS.names)

    @cached_property
    def bikes(self) -> pa.Table:
        """BIKES."""
        from ledger.figures.fault_repairs import bikes_of

        return bikes_of(self)

    @cached_property
    def codes(self) -> FaultCodes:
        """The same tables as numbers."""
        from ledger.figures.fault_codes import FaultCodes

        return FaultCodes(self)

    @cached_property
    def job_facts(self) -> pa.Table:
        """One job a row: the relation `job_facts`."""
        return self.read("job_facts")

    @cached_property
    def labour(self) -> pa.Table:
        """One live stretch of labour a row: the relation `labour_spells`."""
        return self.read("labour_spells")

    @cached_property
    def unpaid_labour(self) -> pa.Table:
        """The stretches of labour that nobody paid for: booked as come-back or goodwill."""
        if (kept := self.kept("unpaid_labour")) is not None:
            return kept
        if self.bike is not None or "labour" in self.__dict__:
            is_unpaid = pc.is_in(self.labour["minutes_kind"], pa.array(UNPAID_KINDS))
            return self.labour.filter(is_unpaid)
        return self._whole("labour_spells", _OF_KINDS, {"kinds": list(UNPAID_KINDS)})

    def openings_of(self, jobs: pa.Array) -> pa.Table:
        """Give job, tier and opened_at of some jobs, those that were opened."""
        names = ["job", "tier", "opened_at"]
        if (kept := self.kept("job_openings")) is not None:
            return kept.filter(pc.is_in(kept["job"], jobs)).select(names)
        if self.bike is not None or "job_facts" in self.__dict__:
            return self.job_facts.filter(pc.is_in(self.job_facts["job"], jobs)).select(names)
        return self._whole("job_openings", _OF_JOBS, {"jobs": jobs.to_pylist()}).select(names)

    @cached_property
    def preventive_work(self) -> pa.Table:
        """One live preventive treatment a row: the relation `preventive_work`, and whether it
        `is_billed`."""
        from ledger.figures.fault_preventive import with_billed

        if (kept := self.kept("preventive_treatments")) is not None:
            return kept
        work = self.read("preventive_work")
        return with_billed(work, self.bills_of(pc.unique(work["job"].drop_null()).to_pylist()))

    def read(self, relation: str) -> pa.Table:
        """Give any relation, as at the same instant and seq: of the one bike where one is."""
        return self.given[relation]

    def given_lines(self, jobs: Sequence[str]) -> pa.Table:
        """Give the lines of some jobs' bills that were given away: `fault_costs.given_away`."""
        from ledger.figures.fault_costs import given_away

        if (kept := self.kept("given_lines")) is not None:
            return kept.filter(pc.is_in(kept["job"], pa.array(jobs, pa.string())))
        return given_away(self.bills_of(jobs))

    def bills_of(self, jobs: Sequence[str]) -> pa.Table:
        """Give the bills of some jobs: rows of the relation `job_bills` that have lines."""
        if self.bike is not None:
            bills = self.read("job_bills")
            found = bills.filter(pc.is_in(bills["job"], pa.array(jobs, pa.string())))
        else:
            found = self._whole("job_bills", _OF_JOBS, {"jobs": list(jobs)})
        return found.filter(pc.is_valid(found["lines"])).combine_chunks()

    def _whole(self, relation: str, ending: str, values: Mapping[str, Any]) -> pa.Table:
        return whole_table(
            self.book, relation, self.as_at, self.known_seq, ending=ending, values=values
        )

    def looks_at(self, positions: Sequence[str]) -> pa.Table:
        """Give the looks that found some positions within limit: of `position_looks`."""
        looks = self.kept("position_looks")
        if looks is None and (self.bike is not None or "position_looks" in self.given):
            looks = self.read("position_looks")
        if looks is not None:
            return looks.filter(pc.is_in(looks["position"], pa.array(positions, pa.string())))
        return self._whole("position_looks", _AT_POSITIONS, {"positions": list(positions)})
