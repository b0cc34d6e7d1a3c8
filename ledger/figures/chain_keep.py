"""What is known of a book's chains, and of the chain on every bike, kept beside the book."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from ledger.analysis.bench_choice import WornDrivetrain
from ledger.book import Book
from ledger.figures.ahead import BookTables
from ledger.figures.bench import (
    BikeChoice,
    Drivetrain,
    NoChoice,
    choice_from,
    choice_of,
    drivetrains,
)
from ledger.figures.chain_book import ChainBook
from ledger.figures.chain_report import (
    BikeGears,
    ChainsReport,
    GearWear,
    LimitCurve,
    RiderChains,
    ShopChains,
    ThresholdCost,
)
from ledger.figures.chains import report_of_all
from ledger.figures.gauges import errors_known
from ledger.figures.prices import PartPrice, bill_lines
from ledger.figures.worn import CODE as OF_WEAR
from ledger.figures.worn import given_by, readings_of
from ledger.kept.whole import Whole, found_whole, latest_whole, whole

_CODE = tuple(
    f"ledger.{module}"
    for module in (
        "analysis.bench_choice", "analysis.beyond", "analysis.chains", "analysis.costs",
        "analysis.gears", "analysis.rider_rates", "analysis.sprockets", "analysis.thresholds",
        "figures.bench", "figures.chain_book", "figures.chain_curves", "figures.chain_gears",
        "figures.chain_keep", "figures.chain_lives", "figures.chain_money",
        "figures.chain_report", "figures.chain_sightings", "figures.chain_stretches",
        "figures.chains", "figures.prices",
    )
)  # fmt: skip
_PARTS = (ChainsReport, RiderChains, ShopChains, LimitCurve, ThresholdCost, PartPrice, BikeGears,
          GearWear, Drivetrain, WornDrivetrain)  # fmt: skip
_MANY = (RiderChains, BikeGears, Drivetrain)


@dataclass(frozen=True)
class BookChains:
    """All of a book's chains as at an instant."""

    report: ChainsReport
    """All of it: what of it somebody is told, `chains.shown_to` gives."""
    drivetrains: Sequence[Drivetrain]
    """By bike; for `bench.choice_from`."""


def book_chains(book: Book, ahead: BookTables) -> BookChains:
    """Give what is known of a book's chains: as kept, or worked out now and kept."""
    return whole(book, _keep(book), ahead.asked, lambda: _made(book, ahead))


def choice_on(
    book: Book,
    ahead: BookTables,
    bike: str,
    tags: Collection[str] | None,
    of: Callable[[], ChainBook],
) -> BikeChoice | NoChoice:
    """Give the choice for one bike: from what is kept, else from `of`, with no report made."""
    found = found_whole(book, _keep(book), ahead.asked)
    if found is None:
        return choice_of(of(), bike, tags)
    return choice_from(found.drivetrains, bike, tags)


def last_chains(book: Book) -> tuple[int, BookChains] | None:
    """Give what was kept last, of now or of before, with the commit the book stood at then."""
    found = latest_whole(book, _keep(book))
    return found and (found[0].commit, found[1])


def _made(book: Book, ahead: BookTables) -> BookChains:
    asked = ahead.asked
    of = ChainBook(
        readings_of(book, ahead),
        bill_lines(book, asked.as_at, asked.known_seq),
        errors_known(book, asked.known_seq),
    )
    return BookChains(report_of_all(of, book.settings.currency), drivetrains(of))


def _keep(book: Book) -> Whole[BookChains]:
    uses = ("wear_marks", "measured_documents", "job_bills")
    given = (*given_by(book), book.settings.currency)
    return Whole("chains", BookChains, uses, _PARTS, _MANY, (*OF_WEAR, *_CODE), given)
