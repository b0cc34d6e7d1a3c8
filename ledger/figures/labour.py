"""Minutes against quote, of a book: the door to all its figures of time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property

from ledger.book import Book
from ledger.figures.labour_shapes import (
    FoundLater,
    JobWaterfall,
    LabourBy,
    LabourCover,
    LabourJob,
    LabourRow,
    Period,
)


@dataclass(frozen=True)
class BookLabour:
    """Minutes of the jobs closed in a period; each figure is worked out when it is asked for."""

    book: Book
    period: Period
    as_at: datetime
    known_seq: int

    @cached_property
    def total(self) -> LabourRow:
        """All jobs."""
        raise NotImplementedError

    def by(self, by: LabourBy) -> tuple[LabourRow, ...]:
        """Give a row a tier, task, month or kind of bike: most jobs first, months in order."""
        raise NotImplementedError

    @cached_property
    def found_later(self) -> FoundLater:
        """Work found after the first quote."""
        raise NotImplementedError

    def jobs(
        self, by: LabourBy | None = None, key: str | None = None, limit: int | None = None
    ) -> tuple[LabourJob, ...]:
        """Give the jobs behind a row (all jobs for None), furthest over the quote first."""
        raise NotImplementedError

    def waterfall(self, job: str) -> JobWaterfall:
        """Give one job from quoted to actual; raises UnknownJob."""
        raise NotImplementedError

    @cached_property
    def cover(self) -> LabourCover:
        """What the figures rest on, and what they leave out."""
        raise NotImplementedError

    @cached_property
    def front(self) -> str:
        """The finding in a sentence."""
        raise NotImplementedError

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What the finding rests on and leaves out, a sentence each."""
        raise NotImplementedError


def labour_of(
    book: Book,
    since: date | None = None,
    until: date | None = None,
    as_at: datetime | None = None,
    known_seq: int | None = None,
) -> BookLabour:
    """Give the minutes of jobs closed from `since` to `until` (local days, both included).

    As at an instant (None for now), as known to a seq. Without days, the 12 months up to it.
    Raises WrongUse where `until` is before `since`.
    """
    raise NotImplementedError
