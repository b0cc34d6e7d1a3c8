"""What each tier earns, of a book: the door to all its figures of money."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from fractions import Fraction
from functools import cached_property

import numpy as np
import pyarrow.compute as pc

from ledger.asking import Asker, require
from ledger.book import Book
from ledger.figures import margin_terms
from ledger.figures.capacity_rows import minutes_ahead, open_work, weeks_sold
from ledger.figures.columns import Columns, between
from ledger.figures.dearer_rows import dearer
from ledger.figures.fault_arrays import NONE, Coded, Integers, flags
from ledger.figures.held_rows import Holds
from ledger.figures.job_sums import sums
from ledger.figures.job_tables import JobTables, job_tables
from ledger.figures.labour_rows import months
from ledger.figures.labour_shapes import Period
from ledger.figures.margin_jobs import job_margins
from ledger.figures.margin_rows import Tiers, contributions_per_hour, earnings, tiers_of
from ledger.figures.margin_shapes import (
    FEWEST_JOBS,
    MOST_HELD,
    BreakEven,
    Capacity,
    Dearer,
    Earning,
    Estimate,
    Held,
    JobMargin,
    MonthMargin,
    NotCarried,
    TierMargin,
    WhatIf,
)
from ledger.figures.margin_words import MarginWords
from ledger.figures.period import Span, period_of, span_of
from ledger.figures.terms_in_force import TermsInForce, day_number
from ledger.queries import asked_of


@dataclass(frozen=True)
class BookMargin:
    """What jobs closed in a period earned; each figure is worked out when it is asked for."""

    book: Book
    period: Period
    as_at: datetime
    known_seq: int
    ledger: JobTables

    @cached_property
    def words(self) -> MarginWords:
        """How all of it is worded."""
        return MarginWords(self.book.settings, self.ledger.words)

    # -- what is in it ------------------------------------------------------------------------

    @property
    def _span(self) -> Span:
        return span_of(self.period)

    @property
    def _terms(self) -> TermsInForce:
        return self.ledger.terms

    @cached_property
    def _jobs(self) -> Columns:
        return between(self.ledger.jobs, "closed_day", self._span.first, self._span.last)

    @cached_property
    def _days(self) -> Columns:
        return between(self.ledger.days, "day", self._span.first, self._span.last)

    @cached_property
    def _tiers(self) -> Tiers:
        return tiers_of(self._jobs)

    # -- earnings -----------------------------------------------------------------------------

    @cached_property
    def total(self) -> Earning:
        """All tiers together; `caused` is what all come-back jobs took unpaid."""
        nothing = np.zeros(len(self._jobs), dtype=np.int64)
        return earnings(self._jobs, nothing, nothing, 1)[0]

    @cached_property
    def _per_hour(self) -> tuple[list[Estimate | None], bool]:
        return contributions_per_hour(self._tiers)

    @cached_property
    def tiers(self) -> tuple[TierMargin, ...]:
        """A row a tier, the highest contribution per bench hour first; no tier last."""
        of = self._tiers
        earned = earnings(of.jobs, of.own, of.cause, of.count)
        rows = [
            self._tier(place, earning)
            for place, earning in enumerate(earned)
            if earning.count_jobs or earning.caused.count_jobs
        ]
        return tuple(sorted(rows, key=_by_hour))

    def _tier(self, place: int, earning: Earning) -> TierMargin:
        of, last = self._tiers, self._span.last
        tier = of.names[place] if place < len(of.names) else None
        is_own = of.own == place
        lines = tuple(
            int(of.jobs[name][is_own].sum()) for name in ("tier_line_minor", "count_tier_lines")
        )
        told = self._terms.tier_on(tier, last)
        hour = self._per_hour[0][place]
        return TierMargin(
            tier=tier,
            label=self.words.tier(tier),
            earning=earning,
            contribution_per_hour=hour,
            lowest_price=margin_terms.lowest(
                earning, (lines[0], lines[1]), self._charge, told.price_minor if told else None
            ),
            is_too_few=earning.count_jobs < FEWEST_JOBS,
            verdict=self.words.verdict(earning, hour),
        )

    @cached_property
    def months(self) -> tuple[MonthMargin, ...]:
        """A row a month of closing, in order; those without a job too."""
        names = _months_of(self.period)
        key = _among(months(self._jobs["closed_day"]), names)
        found = earnings(self._jobs, key, key, len(names))
        return tuple(
            MonthMargin(name, self.words.month(name), earning)
            for name, earning in zip(names, found, strict=True)
        )

    # -- terms --------------------------------------------------------------------------------

    @property
    def _rounding(self) -> str:
        return margin_terms.rounding_on(self._terms, self._span.last)

    @cached_property
    def not_carried(self) -> NotCarried:
        """Fixed cost that no hour carried."""
        cost, untold = margin_terms.not_carried(self._terms, self._span, self._rounding)
        found = NotCarried(self.period.days, cost, self._days.total("fixed_minor"), untold, "")
        return replace(found, line=self.words.not_carried(found))

    @cached_property
    def _charge(self) -> Fraction | None:
        return margin_terms.exact_charge(self._terms, self._days, self._span.last)

    @cached_property
    def break_even(self) -> BreakEven | None:
        """The break-even charge; None where sellable hours, fixed cost or wages are not told."""
        return margin_terms.break_even(self._terms, self._days, self._span.last)

    def what_if(
        self,
        prices: Mapping[str | None, float] | None = None,
        minutes: Mapping[str | None, float] | None = None,
    ) -> WhatIf:
        """Give the margins had prices and minutes of tiers been other: 0.05 is 5 % more.

        Raises WrongUse for a tier that no job of the period has, or a change below -1.
        """
        prices, minutes = prices or {}, minutes or {}
        known = [row.tier for row in self.tiers]
        margin_terms.check_changes(prices, known, "price")
        margin_terms.check_changes(minutes, known, "time")
        line = self._tier_lines
        rows = tuple(
            margin_terms.what_if_row(
                row.tier, row.label, row.earning, line[row.tier],
                (prices.get(row.tier, 0.0), minutes.get(row.tier, 0.0)), self._rounding,
            )
            for row in self.tiers
        )  # fmt: skip
        after = sum(row.margin_after_minor for row in rows)
        found = WhatIf(rows, self.total.margin_minor, after, "", self._what_if_notes(prices))
        return replace(found, line=self.words.what_if(found))

    @property
    def _tier_lines(self) -> dict[str | None, int]:
        of = self._tiers
        found = sums(of.own, of.jobs["tier_line_minor"], of.count)
        return {name: int(found[at]) for at, name in enumerate([*of.names, None])}

    def _what_if_notes(self, prices: Mapping[str | None, float]) -> tuple[str, ...]:
        said = ["Nobody stays away, or comes more often, for a price in this."]
        unpriced = [
            tier for tier, change in prices.items() if change and not self._tier_lines[tier]
        ]
        said += [
            f"{self.words.tier(tier)} has no line of its own charged: its price moves nothing."
            for tier in unpriced
        ]
        return tuple(said)

    # -- the bench ----------------------------------------------------------------------------

    @cached_property
    def capacity(self) -> Capacity:
        """Bench hours sold against open, and what is booked ahead."""
        today = day_number(self.book.settings.local(self.as_at).date())
        weeks = weeks_sold(self._days, self.period, self._terms)
        jobs = open_work(self.ledger.jobs, self._terms, today, self.words)
        told = [week.open_minutes for week in weeks if week.open_minutes is not None]
        hours, ahead = self._terms.sellable_hours(today), minutes_ahead(jobs)
        found = Capacity(
            weeks=weeks,
            bench_minutes=sum(week.bench_minutes for week in weeks),
            charged_minutes=sum(week.charged_minutes for week in weeks),
            open_minutes=sum(told) if told else None,
            open_jobs=jobs,
            minutes_ahead=ahead,
            weeks_ahead=None if hours is None else float(ahead / (60 * hours)),
            line="",
        )
        return replace(found, line=self.words.capacity(found))

    @cached_property
    def held(self) -> Held:
        """Days held, and for what."""
        settings = self.book.settings
        begins = settings.end_of_day(self.period.since - timedelta(days=1))
        holds = Holds(self.ledger.holds, begins, settings.end_of_day(self.period.until), self.as_at)
        found = Held(holds.rows(), holds.jobs(MOST_HELD), len(holds.table), "")
        return replace(found, line=self.words.held(found))

    @cached_property
    def dearer(self) -> Dearer:
        """Declined advice that came back dearer."""
        found = dearer(self.ledger.advice, self.period, self.book.settings, self.words)
        return replace(found, line=self.words.dearer(found, self.period))

    # -- jobs and words -----------------------------------------------------------------------

    def jobs(self, tier: str | None = None, limit: int | None = None) -> tuple[JobMargin, ...]:
        """Give the jobs of a tier (None: those of no tier), least margin first.

        Come-back jobs of other tiers whose unpaid work the tier caused are among them.
        """
        of = self._tiers
        place = (
            of.names.index(tier) if tier in of.names else len(of.names) if tier is None else NONE
        )
        is_its = (of.own == place) | (of.is_come_back & (of.cause == place))
        return job_margins(of.jobs.kept(is_its), limit)

    @property
    def count_open(self) -> int:
        """Jobs open as at the instant: in no margin."""
        return int(flags(pc.is_null(self.ledger.jobs["closed_at"])).sum())

    @cached_property
    def front(self) -> str:
        """The finding in a sentence."""
        return self.words.front(self.total, self.tiers, self.break_even, self.not_carried)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What the finding rests on and leaves out, a sentence each."""
        if not self.total.count_jobs:
            return ()
        said = self.words.earning_notes(self.total, self.break_even, self._per_hour[1])
        if self.count_open:
            said.append(
                f"{self.words.count(self.count_open, 'job')} still open: in no figure here."
            )
        return (*said, self.not_carried.line)


def _by_hour(row: TierMargin) -> tuple[bool, float, str]:
    hour = row.contribution_per_hour
    return row.tier is None, -(hour.value if hour else -np.inf), row.label


def _months_of(period: Period) -> list[str]:
    first, last = (day.year * 12 + day.month - 1 for day in (period.since, period.until))
    return [f"{at // 12:04d}-{at % 12 + 1:02d}" for at in range(first, last + 1)]


def _among(key: Coded, names: list[str]) -> Integers:
    place = np.array([names.index(name) for name in key.names], dtype=np.int64)
    return place[key.code]


def margin_of(
    book: Book,
    since: date | None = None,
    until: date | None = None,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    asker: Asker,
) -> BookMargin:
    """Give what jobs closed from `since` to `until` (local days, both included) earned.

    As at an instant (None for now), as known to a seq. Without days, the 12 months up to it.
    Raises NotForRole for whoever does not see money, WrongUse where `until` is before `since`.
    """
    require(asker, "money", "What the shop earns")
    asked = asked_of(book, as_at, known_seq)
    period = period_of(book, since, until, asked.as_at)
    ledger = job_tables(book, asked.as_at, asked.known_seq)
    return BookMargin(book, period, asked.as_at, asked.known_seq, ledger)
