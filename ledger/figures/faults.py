"""Faults that come back, of a book or of one bike: the door to all their figures."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.asking import Asker, require
from ledger.book import Book
from ledger.figures.come_backs import WindowAsked
from ledger.figures.fault_estimates import (
    FaultFunnel,
    ModelRates,
    Prevention,
    Recurrence,
    RecurrenceBy,
    Trend,
)
from ledger.figures.fault_jobs import Linked, come_back_jobs, linked_jobs
from ledger.figures.fault_pareto import Sides, bikes_behind, counts_of, pareto
from ledger.figures.fault_reading import fault_tables
from ledger.figures.fault_shapes import (
    BikeComeBacks,
    By,
    ComeBackJob,
    FaultCounts,
    Measure,
    Pareto,
    Unpaid,
)
from ledger.figures.fault_tables import FaultTables
from ledger.figures.fault_words import FaultWords, cautions

NOT_BY = {True: "How a tier's repairs hold", False: "What come-backs took unpaid"}


@dataclass(frozen=True)
class BookFaults:
    """All of a book's faults as at an instant; each figure is worked out when it is asked for."""

    tables: FaultTables
    asker: Asker
    """Who asks: without sight of money nothing says what come-backs took unpaid, and no tier is
    held against another; without sight of colleagues no mechanic is."""

    @property
    def as_at(self) -> datetime:
        """The instant."""
        return self.tables.as_at

    @property
    def today(self) -> date:
        """The same day in the book's time zone."""
        return self.tables.today

    @property
    def window(self) -> WindowAsked | None:
        """The window asked for; None where each fault has its own."""
        return self.tables.window

    @cached_property
    def words(self) -> FaultWords:
        """How all of it is worded."""
        return FaultWords(self.tables.book.settings, self.tables.words)

    # -- tables -------------------------------------------------------------------------------

    @property
    def episodes(self) -> pa.Table:
        """One fault found a row; see `ledger.figures.matching`."""
        return self.tables.episodes

    @cached_property
    def repeats(self) -> pa.Table:
        """One fault found again a row, with unpaid_minutes and unpaid_minor of the come-backs.

        Both null where they are not the asker's to see.
        """
        rows = self._linked.row
        minutes, minor = np.zeros((2, len(self.tables.repeats)), dtype=np.int64)
        work = self._linked.work.by_come_back
        minutes[rows], minor[rows] = work.figures["minutes"], work.minor
        is_told = np.ones(len(minor), dtype=np.bool_)
        is_told[rows] = work.is_told
        hidden = np.full(len(minor), not work.is_shown)
        return self.tables.repeats.append_column(
            "unpaid_minutes", pa.array(minutes, mask=hidden)
        ).append_column("unpaid_minor", pa.array(minor, mask=~is_told | hidden))

    @property
    def repairs(self) -> pa.Table:
        """One fault put right a row: REPAIRS of `ledger.figures.fault_tables`."""
        return self.tables.repairs

    @cached_property
    def carried(self) -> pa.Table:
        """The episodes still there when a job after their finding was closed."""
        return self.episodes.filter(pc.greater(self.episodes["count_jobs_carried"], 0))

    @cached_property
    def closed_without_work(self) -> pa.Table:
        """The episodes found gone, with no work on record that put them right."""
        return self.episodes.filter(pc.is_valid(self.episodes["cleared_at"]))

    # -- the front ----------------------------------------------------------------------------

    @cached_property
    def _linked(self) -> Linked:
        found = linked_jobs(self.tables)
        if self.asker.sees("money"):
            return found
        return replace(found, work=found.work.not_shown())

    @cached_property
    def _sides(self) -> Sides:
        linked = self._linked
        return Sides(
            tables=self.tables,
            come_back=linked.row,
            unpaid=linked.work.by_come_back,
            count_faultless=len(linked.faultless),
            unpaid_faultless=linked.work.by_job.total(linked.faultless),
        )

    @cached_property
    def counts(self) -> FaultCounts:
        """All faults counted."""
        return counts_of(self._sides)

    @cached_property
    def unpaid(self) -> Unpaid:
        """What all jobs that came back took unpaid."""
        return self._linked.work.by_job.total()

    @property
    def count_jobs(self) -> int:
        """Jobs that came back."""
        return len(self._linked.jobs)

    @property
    def count_faultless(self) -> int:
        """Of those, the ones in which no fault was found again."""
        return len(self._linked.faultless)

    @property
    def count_linked(self) -> int:
        """Jobs that came back, or were judged not to."""
        return len(self.tables.jobs)

    @cached_property
    def jobs(self) -> tuple[ComeBackJob, ...]:
        """Every job that came back, or was judged not to, the newest first."""
        return self.newest_jobs()

    def newest_jobs(self, limit: int | None = None) -> tuple[ComeBackJob, ...]:
        """Give at most so many of `jobs`, with no more work than they take."""
        return come_back_jobs(self.tables, self._linked, self.words, limit)

    @cached_property
    def front(self) -> str:
        """The finding in a sentence."""
        return self.words.front(self.counts, self.unpaid, self.count_jobs, self.count_faultless)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What the finding rests on, a sentence each."""
        said = [*self.words.not_told(self.unpaid), *self.words.how_sure(self.counts)]
        return (*said, self.words.windows(self.window)) if self.counts.count_put_right else ()

    @cached_property
    def cautions(self) -> tuple[str, ...]:
        """The caution over what may decide whether somebody gets hurt, where it is due."""
        return cautions(pc.unique(self.tables.found["position"]).to_pylist(), self.tables.words)

    def pareto(self, by: By = "fault", measure: Measure = "count") -> Pareto:
        """Give what came back by one thing, most of a measure first.

        Raises NotForRole for what it took, and for tiers, where the asker does not see money.
        """
        if by == "tier" or measure != "count":
            require(self.asker, "money", NOT_BY[by == "tier"])
        return pareto(self._sides, by, measure, self.words)

    def bikes(self, by: By, key: str | None, limit: int | None = None) -> tuple[BikeComeBacks, ...]:
        """Give the bikes behind a row of a Pareto, most come-backs first, at most so many.

        Raises NotForRole for tiers where the asker does not see money.
        """
        if by == "tier":
            require(self.asker, "money", NOT_BY[True])
        return bikes_behind(self._sides, by, key, limit)

    # -- how sure -----------------------------------------------------------------------------

    @cached_property
    def _recurrences(self) -> dict[RecurrenceBy, Recurrence]:
        return {}

    def recurrence(self, by: RecurrenceBy) -> Recurrence:
        """Give how often faults come, by system, part model, tier or riding."""
        from ledger.figures.fault_recurrence import recurrence

        if by == "tier":
            require(self.asker, "money", NOT_BY[True])
        if by not in self._recurrences:
            self._recurrences[by] = recurrence(self.tables, by)
        return self._recurrences[by]

    @cached_property
    def trends(self) -> tuple[Trend, ...]:
        """Whether faults are found more and more often: on all bikes, then by kind of riding."""
        from ledger.figures.fault_trends import trends

        return trends(self.tables)

    @cached_property
    def model_rates(self) -> ModelRates:
        """How often parts of a model go wrong, beside others of their sort."""
        from ledger.figures.fault_rates import model_rates

        return model_rates(self.tables)

    @cached_property
    def tier_funnel(self) -> FaultFunnel:
        """Whether the repairs of a tier come back more often than chance has it.

        Raises NotForRole for whoever does not see money.
        """
        from ledger.figures.fault_funnels import funnel

        require(self.asker, "money", NOT_BY[True])
        return funnel(self.tables, "tier")

    @cached_property
    def mechanic_funnel(self) -> FaultFunnel:
        """The same of mechanics; raises NotForRole for whoever does not see colleagues' figures."""
        from ledger.figures.fault_funnels import funnel

        require(self.asker, "colleagues", "Whose repairs hold better")
        return funnel(self.tables, "mechanic", for_owner=True)

    @cached_property
    def prevention(self) -> Prevention:
        """Whether unbilled preventive work goes with less trouble."""
        from ledger.figures.fault_prevention import prevention

        return prevention(self.tables)


def faults_of(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    window: WindowAsked | None = None,
    asker: Asker,
) -> BookFaults:
    """Give all of a book's faults as at an instant (None for now), as known to a seq.

    `window` takes the place of each fault's own. Raises NotForRole for whoever does not see wear.
    """
    require(asker, "wear", "Which faults come back")
    return BookFaults(fault_tables(book, as_at, known_seq, window=window), asker)
