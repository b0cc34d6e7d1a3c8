"""Chains that run long: who, how far, what followed, what it costs, and when to change."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import TypeVar

import numpy as np

from ledger.analysis.beyond import how_far_beyond
from ledger.analysis.chains import Shares, overrun_shares
from ledger.analysis.costs import Differences
from ledger.analysis.unfit import CannotFit
from ledger.asking import Asker
from ledger.book import Book
from ledger.figures.ahead import BookTables
from ledger.figures.chain_book import ChainBook
from ledger.figures.chain_curves import curves_of
from ledger.figures.chain_gears import gears_of
from ledger.figures.chain_lives import USUAL_ERROR
from ledger.figures.chain_money import differences, followed, of_rider, unpriced
from ledger.figures.chain_report import CONDITIONS, ChainsReport, RiderChains, ShopChains
from ledger.figures.chain_sightings import middle_past
from ledger.figures.gauges import errors_known
from ledger.figures.prices import bill_lines
from ledger.figures.readings import BookReadings
from ledger.figures.worn import readings_of
from ledger.kept.rows import mapped

Chains = TypeVar("Chains", RiderChains, ShopChains)
BEYOND = ("over", "beyond_km", "beyond_low_km", "beyond_high_km")


def chains(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    tables: BookReadings | None = None,
    *,
    asker: Asker,
) -> ChainsReport:
    """Give everything about chains that run long, as at an instant (None for now).

    `tables` saves reading the book again where it was read already.
    """
    of = chain_book(book, as_at, known_seq, tables)
    return report_of(of, book.settings.currency, asker=asker)


def chain_book(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    tables: BookReadings | None = None,
) -> ChainBook:
    """Give what a book tells of chains and sprockets, as `chains` is worked out from."""
    asked = BookTables(book, as_at, known_seq)
    return ChainBook(
        tables or readings_of(book, asked),
        bill_lines(book, as_at, known_seq),
        errors_known(book, asked.asked.known_seq),
    )


def report_of(of: ChainBook, currency: str, *, asker: Asker) -> ChainsReport:
    """Give the report of what is known of a book's chains.

    Without sight of money its money is None and it has no curves; without sight of habits no
    rider, and no gears by name.
    """
    return shown_to(report_of_all(of, currency), asker=asker)


def shown_to(report: ChainsReport, *, asker: Asker) -> ChainsReport:
    """Give what of a whole report somebody is told."""
    if not asker.sees("habits"):
        gears = mapped(report.gears, lambda one: replace(one, who=f"bike {one.bike}"))
        report = replace(report, riders=(), gears=gears)
    if asker.sees("money"):
        return report
    shop = report.shop and _without_money(report.shop)
    riders = mapped(report.riders, lambda one: replace(_without_money(one), extra_chains=None))
    return replace(report, shop=shop, riders=riders, curves=(), missing=())


def _without_money(of: Chains) -> Chains:
    return replace(
        of,
        spent_minor=None,
        difference_minor=None,
        difference_low_minor=None,
        difference_high_minor=None,
    )


def report_of_all(of: ChainBook, currency: str) -> ChainsReport:
    """Give the whole report, for whoever sees all of it."""
    shares, money = _shares(of), _money(of)
    curves, without = curves_of(of.runs, of.rates, of.seen, of.tooth_limits, of.changed, of.price)
    return ChainsReport(
        riders=_riders(of, shares, money) if shares else (),
        shop=_shop(of, shares, money) if shares else None,
        curves=curves,
        gears=gears_of(of.stretches["cassette"]),
        conditions=CONDITIONS,
        missing=tuple(dict.fromkeys([*of.missing, *without])),
        currency=currency,
    )


def _shares(of: ChainBook) -> Shares | None:
    if not of.judged:
        of.missing.append("shares: no chain was measured against a limit")
        return None
    past = [sum(bool(one.is_past) for one in some) for some in of.judged.values()]
    return overrun_shares(past, [len(some) for some in of.judged.values()])


def _money(of: ChainBook) -> Differences | None:
    try:
        found = differences(of)
    except CannotFit as error:
        of.missing.append(f"what running long costs: {error.wrong}")
        return None
    of.missing.extend(unpriced(of))
    return found


def _riders(of: ChainBook, shares: Shares, money: Differences | None) -> tuple[RiderChains, ...]:
    names, beyond = list(of.judged), _beyond(of)
    cassettes, rings = followed(of, "cassette"), followed(of, "chainring")
    found = []
    for place in shares.ranking().tolist():
        who = names[place]
        bikes = tuple(sorted({one.bike for one in of.judged[who]}))
        found.append(
            RiderChains(
                who=who,
                rider=None if who.startswith("bike ") else who,
                bikes=bikes,
                seen=int(shares.seen[place]),
                past=int(shares.past[place]),
                share=float(shares.share[place]),
                share_low=float(shares.low[place]),
                share_high=float(shares.high[place]),
                **{**dict.fromkeys(BEYOND), **beyond.get(who, {})},
                cassettes_followed=sum(cassettes.get(bike, 0) for bike in bikes),
                chainrings_followed=sum(rings.get(bike, 0) for bike in bikes),
                **of_rider(money, of.codes[who]),
            )
        )
    return tuple(found)


def _beyond(of: ChainBook) -> dict[str, dict[str, float]]:
    """Give by rider how far past the limit the middle one of their overlong chains was."""
    middle = {who: one for who, seen in of.judged.items() if (one := middle_past(seen))}
    over = [one.over for one in middle.values()]
    if of.rates is None:
        return {who: {"over": one} for who, one in zip(middle, over, strict=True)}
    rates = of.rates.of([of.codes[who] for who in middle])
    found = how_far_beyond(over, 0.0, *rates, error=USUAL_ERROR["elongation"])
    figures = (found.over, found.km, np.maximum(found.km_low, 0.0), found.km_high)
    rows = np.column_stack(figures).tolist()
    return {who: dict(zip(BEYOND, row, strict=True)) for who, row in zip(middle, rows, strict=True)}


def _shop(of: ChainBook, shares: Shares, money: Differences | None) -> ShopChains:
    figures: Mapping[str, float | None] = dict.fromkeys(("spent", "difference", "low", "high"))
    if money is not None:
        told = {name: float(getattr(money, f"shop_{name}")) for name in figures}
        figures = {name: one if np.isfinite(one) else None for name, one in told.items()}
    return ShopChains(
        count_riders=len(of.judged),
        seen=int(shares.seen.sum()),
        past=int(shares.past.sum()),
        count_open=sum(one.is_past is None for one in of.sightings),
        typical_share=shares.shop_share,
        typical_low=shares.shop_low,
        typical_high=shares.shop_high,
        count_above=int((shares.low > shares.shop_share).sum()),
        distance_km=0.0 if money is None else float(money.distance_km.sum()),
        spent_minor=figures["spent"],
        difference_minor=figures["difference"],
        difference_low_minor=figures["low"],
        difference_high_minor=figures["high"],
    )
