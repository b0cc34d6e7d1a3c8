"""The same figures of several shops side by side: by shop, by region, by tier.

What is added over shops are counts, minutes and money of one currency; ratios are of those sums.
Each shop's own part is what its book alone gives (`labour_of`, `margin_of`, `faults_of`, chains).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date
from typing import Literal

import numpy as np

from ledger.asking import Asker
from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.figures.ahead import BookTables
from ledger.figures.chain_keep import book_chains
from ledger.figures.columns import between
from ledger.figures.fault_arrays import NONE
from ledger.figures.fault_words import FEWEST as FEWEST_JUDGED
from ledger.figures.faults import faults_of
from ledger.figures.job_sums import sums
from ledger.figures.labour import BookLabour, labour_of
from ledger.figures.labour_shapes import FEWEST_RATIOS, Period
from ledger.figures.margin import margin_of
from ledger.figures.margin_shapes import FEWEST_JOBS
from ledger.figures.period import span_of
from ledger.figures.terms_in_force import day_number, told_terms
from ledger.kept import terms_known
from ledger.shops.opened import Shops

By = Literal["shop", "region", "tier"]
BYS: tuple[By, ...] = ("shop", "region", "tier")
FEWEST_CHAINS = 20
"""Chains seen below which nothing is said of the share past its limit."""


@dataclass(frozen=True, slots=True)
class Sums:
    """What is added up. Minutes are whole, money whole minor units of one currency, net of tax."""

    count_jobs: int = 0
    """Closed in the period."""
    count_compared: int = 0
    """Of those, with minutes both quoted and worked on what was quoted."""
    quoted_minutes: int = 0
    """Of the jobs compared."""
    worked_minutes: int = 0
    """Of the jobs compared, on what was quoted."""
    bench_minutes: int = 0
    """Of all jobs, of every kind."""
    contribution_minor: int = 0
    """Charged less parts, wages and consumables; what come-backs took, in the tier that caused it.
    """
    count_put_right: int = 0
    """Faults put right, ever."""
    count_judged: int = 0
    """Of those, the ones that came back or were followed until their window had run out."""
    count_come_back: int = 0
    """Of those, the ones that came back."""
    chains_seen: int = 0
    chains_past: int = 0
    """Past their limit when they were seen."""

    def __add__(self, other: Sums) -> Sums:
        """Add figures of the same currency."""
        names = (field.name for field in fields(self))
        return Sums(*(getattr(self, name) + getattr(other, name) for name in names))

    @property
    def ratio(self) -> float | None:
        """Worked over quoted minutes; None where none were quoted."""
        return self.worked_minutes / self.quoted_minutes if self.quoted_minutes else None

    @property
    def contribution_per_hour_minor(self) -> float | None:
        """Contribution a bench hour; None where no minute was worked."""
        return self.contribution_minor * 60 / self.bench_minutes if self.bench_minutes else None

    @property
    def come_back_share(self) -> float | None:
        """Of the repairs that can be judged, the share that came back; None of none."""
        return self.count_come_back / self.count_judged if self.count_judged else None

    @property
    def past_share(self) -> float | None:
        """Of the chains seen, the share past their limit; None of none."""
        return self.chains_past / self.chains_seen if self.chains_seen else None

    @property
    def is_too_few_ratios(self) -> bool:
        """Whether too few jobs are compared to judge minutes by."""
        return self.count_compared < FEWEST_RATIOS

    @property
    def is_too_few_jobs(self) -> bool:
        """Whether too few jobs were closed to judge what an hour brings."""
        return self.count_jobs < FEWEST_JOBS

    @property
    def is_too_few_repairs(self) -> bool:
        """Whether too few repairs can be judged to speak of a rate."""
        return self.count_judged < FEWEST_JUDGED

    @property
    def is_too_few_chains(self) -> bool:
        """Whether too few chains were seen."""
        return self.chains_seen < FEWEST_CHAINS


@dataclass(frozen=True, slots=True)
class Compared:
    """One row of a comparison."""

    shop: str | None
    """None, as region and tier, where rows are not by it; a region or tier also where none is
    told."""
    region: str | None
    tier: str | None
    label: str | None
    """What the first of its shops calls the tier."""
    currency: str
    """Never more than one: shops of two currencies make two rows."""
    shops: tuple[str, ...]
    sums: Sums


@dataclass(frozen=True, slots=True)
class Comparison:
    """Rows of a comparison, and what each shop's are of."""

    by: tuple[By, ...]
    rows: tuple[Compared, ...]
    """By what was asked, in order; what is not told last."""
    periods: Mapping[str, Period]
    """Each shop's own local days."""
    has_chains: bool


@dataclass(frozen=True, slots=True)
class _Cell:
    """One shop's figures of one tier, or of none."""

    shop: str
    region: str | None
    tier: str | None
    label: str | None
    currency: str
    sums: Sums


@dataclass(frozen=True, slots=True)
class _OfShop:
    period: Period
    cells: tuple[_Cell, ...]


def compared(
    shops: Shops,
    asked: Mapping[str, Asked],
    by: Sequence[By],
    *,
    since: date | None = None,
    until: date | None = None,
    has_chains: bool = False,
    asker: Asker,
) -> Comparison:
    """Give figures of jobs closed in a period, repairs and chains, each by all of `by` together.

    A shop's region is the one in force on the last day of its period. Chains are of no tier: with
    `has_chains` and by tier, they stand in a row of no tier. Raises as the figures of one book do.
    """

    def of_one(book: Book) -> _OfShop:
        return _of_shop(book, asked[book.settings.shop], (since, until), has_chains, asker)

    found = shops.each(of_one, of=list(asked))
    rows: dict[tuple[str | None, ...], Compared] = {}
    for one in (cell for shop in found.values() for cell in shop.cells):
        key = (*(getattr(one, name) for name in by), one.currency)
        earlier = rows.get(key)
        rows[key] = Compared(
            **{
                name: getattr(one, name) if name in by else None
                for name in ("shop", "region", "tier")
            },
            label=(earlier.label if earlier else one.label) if "tier" in by else None,
            currency=one.currency,
            shops=tuple(dict.fromkeys([*(earlier.shops if earlier else ()), one.shop])),
            sums=(earlier.sums if earlier else Sums()) + one.sums,
        )
    ordered = sorted(rows, key=lambda key: tuple((part is None, part or "") for part in key))
    return Comparison(
        tuple(by),
        tuple(rows[key] for key in ordered),
        {shop: one.period for shop, one in found.items()},
        has_chains,
    )


def region_of(book: Book, known_seq: int, day: date) -> str | None:
    """Give the region a shop is in on a day, as the book knew it; None where none is told."""
    return told_terms(terms_known(book, known_seq)).region(day_number(day))


def _of_shop(
    book: Book,
    asked: Asked,
    days: tuple[date | None, date | None],
    has_chains: bool,
    asker: Asker,
) -> _OfShop:
    when = (asked.as_at, asked.known_seq)
    labour = labour_of(book, *days, *when, asker=asker)
    by_tier: dict[str | None, Sums] = {}
    labels: dict[str | None, str] = {}

    def add(tier: str | None, sums: Sums) -> None:
        by_tier[tier] = by_tier.get(tier, Sums()) + sums

    for tier, minutes in _minutes(labour).items():
        add(tier, minutes)
    for row in margin_of(book, *days, *when, asker=asker).tiers:
        labels[row.tier] = row.label
        earned = row.earning
        add(row.tier, Sums(
            count_jobs=earned.count_jobs, bench_minutes=earned.bench_minutes,
            contribution_minor=earned.contribution_minor,
        ))  # fmt: skip
    for fault in faults_of(book, *when, asker=asker).pareto("tier").rows:
        labels.setdefault(fault.key, fault.label)
        counts = fault.counts
        add(fault.key, Sums(
            count_put_right=counts.count_put_right, count_judged=counts.count_judged,
            count_come_back=counts.count_did_not_hold,
        ))  # fmt: skip
    if has_chains:
        add(None, _chains(book, asked))
    region = region_of(book, asked.known_seq, labour.period.until)
    shop, currency = book.settings.shop, book.settings.currency
    cells = (
        _Cell(shop, region, tier, labels.get(tier) if tier else None, currency, sums)
        for tier, sums in (by_tier or {None: Sums()}).items()
    )
    return _OfShop(labour.period, tuple(cells))


def _minutes(labour: BookLabour) -> dict[str | None, Sums]:
    """Give the minutes of jobs that have both quoted and worked ones, by tier."""
    span = span_of(labour.period)
    jobs = between(labour.ledger.jobs, "closed_day", span.first, span.last)
    tiers = jobs.codes("tier")
    count = len(tiers.names) + 1
    code = np.where(tiers.code == NONE, count - 1, tiers.code)
    is_both = (jobs["quoted_minutes"] > 0) & (jobs["minutes_quoted"] > 0)
    number, quoted, worked = (
        sums(code[is_both], values[is_both], count)
        for values in (np.ones(len(jobs)), jobs["quoted_minutes"], jobs["minutes_quoted"])
    )
    names: list[str | None] = [*tiers.names, None]
    return {
        name: Sums(
            count_compared=int(number[place]),
            quoted_minutes=int(quoted[place]),
            worked_minutes=int(worked[place]),
        )
        for place, name in enumerate(names)
        if number[place]
    }


def _chains(book: Book, asked: Asked) -> Sums:
    """Give the chains of a shop seen, and past their limit then; kept where they may be."""
    tables = BookTables(book, asked.as_at, asked.known_seq)
    shop = book_chains(book, tables).report.shop
    return Sums() if shop is None else Sums(chains_seen=shop.seen, chains_past=shop.past)
