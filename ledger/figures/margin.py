"""What each tier earns, of a book: the door to all its figures of money."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property

from ledger.book import Book
from ledger.figures.labour_shapes import Period
from ledger.figures.margin_shapes import (
    BreakEven,
    Capacity,
    Dearer,
    Earning,
    Held,
    JobMargin,
    MonthMargin,
    NotCarried,
    TierMargin,
    WhatIf,
)


@dataclass(frozen=True)
class BookMargin:
    """What jobs closed in a period earned; each figure is worked out when it is asked for."""

    book: Book
    period: Period
    as_at: datetime
    known_seq: int

    @cached_property
    def total(self) -> Earning:
        """All tiers together; `caused` is what all come-back jobs took unpaid."""
        raise NotImplementedError

    @cached_property
    def tiers(self) -> tuple[TierMargin, ...]:
        """A row a tier, the highest contribution per bench hour first; no tier last."""
        raise NotImplementedError

    @cached_property
    def months(self) -> tuple[MonthMargin, ...]:
        """A row a month of closing, in order; those without a job too."""
        raise NotImplementedError

    @cached_property
    def not_carried(self) -> NotCarried:
        """Fixed cost that no hour carried."""
        raise NotImplementedError

    @cached_property
    def break_even(self) -> BreakEven | None:
        """The break-even charge; None where sellable hours, fixed cost or wages are not told."""
        raise NotImplementedError

    def what_if(
        self,
        prices: Mapping[str | None, float] | None = None,
        minutes: Mapping[str | None, float] | None = None,
    ) -> WhatIf:
        """Give the margins had prices and minutes of tiers been other: 0.05 is 5 % more.

        Raises WrongUse for a tier that no job of the period has, or a change below -1.
        """
        raise NotImplementedError

    @cached_property
    def capacity(self) -> Capacity:
        """Bench hours sold against open, and what is booked ahead."""
        raise NotImplementedError

    @cached_property
    def held(self) -> Held:
        """Days held, and for what."""
        raise NotImplementedError

    @cached_property
    def dearer(self) -> Dearer:
        """Declined advice that came back dearer."""
        raise NotImplementedError

    def jobs(self, tier: str | None = None, limit: int | None = None) -> tuple[JobMargin, ...]:
        """Give the jobs of a tier (None: those of no tier), least margin first.

        Come-back jobs of other tiers whose unpaid work the tier caused are among them.
        """
        raise NotImplementedError

    @cached_property
    def front(self) -> str:
        """The finding in a sentence."""
        raise NotImplementedError

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What the finding rests on and leaves out, a sentence each."""
        raise NotImplementedError


def margin_of(
    book: Book,
    since: date | None = None,
    until: date | None = None,
    as_at: datetime | None = None,
    known_seq: int | None = None,
) -> BookMargin:
    """Give what jobs closed from `since` to `until` (local days, both included) earned.

    As at an instant (None for now), as known to a seq. Without days, the 12 months up to it.
    Raises WrongUse where `until` is before `since`.
    """
    raise NotImplementedError
