"""`wear`: how fast parts wear, where they stand, when they are due, and how good that is."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Annotated

import typer

from ledger.cli.options import DEFAULT_BOOK, AsAt, AsJson, AsKnown, BookPath, open_book, when_asked
from ledger.cli.output import progress, say_json
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from datetime import datetime

    from ledger.book import Book
    from ledger.figures.bench import BikeChoice, NoChoice
    from ledger.figures.bike_wear import BikeWear
    from ledger.figures.wear import BookWear


def wear(
    tag: Annotated[
        str | None, typer.Argument(help="A bike tag; the whole fleet if none.", metavar="[TAG]")
    ] = None,
    part: Annotated[
        str | None,
        typer.Option(help="Only this part of the bike: its id, or a position such as chain."),
    ] = None,
    as_at: AsAt = None,
    as_known: AsKnown = None,
    test: Annotated[
        bool, typer.Option("--backtest", help="Score how the book's readings were foretold.")
    ] = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Show how parts wear: of one bike, or the fleet's usual rates and its gauges.

    Examples:
    $ lockring wear
    $ lockring wear 7K3M9QXA --part chain
    $ lockring wear --backtest
    """
    _refuse_mixtures(tag, part, as_at, as_known, is_test=test)
    book = open_book(book_path)
    if test:
        _backtest(book, as_json=as_json)
    elif tag is None:
        _fleet(book, as_at, as_known, as_json=as_json)
    else:
        _bike(book, tag, part, as_at, as_known, as_json=as_json)


def _refuse_mixtures(
    tag: str | None, part: str | None, as_at: str | None, as_known: str | None, *, is_test: bool
) -> None:
    if is_test and (tag or as_at or as_known):
        raise WrongUse("--backtest is of the whole book and of all times: give it alone.")
    if part is not None and tag is None:
        raise WrongUse("--part goes with a bike tag: lockring wear TAG --part chain.")


def _backtest(book: Book, *, as_json: bool) -> None:
    from ledger.cli import wear_fleet
    from ledger.figures.wear import backtest_of

    with progress("Foretelling past readings, family by family", is_long=True) as tell:
        found = backtest_of(book, tell)
    if as_json:
        say_json(wear_fleet.backtest_json(found))
    else:
        wear_fleet.say_backtest(book, found)


def _fleet(book: Book, as_at: str | None, as_known: str | None, *, as_json: bool) -> None:
    from ledger.cli import wear_fleet
    from ledger.figures.ahead import OF_WEAR, BookTables

    when = when_asked(book, as_at, as_known)
    ahead = BookTables(book, *when).ask_beside_kept(*OF_WEAR)
    from ledger.figures.wear import wear_of  # while the engine is at it: much to load

    with progress("Working out the wear"):
        found = wear_of(book, *when, ahead=ahead)
        flagged = found.flagged
    if as_json:
        say_json(wear_fleet.fleet_json(book, found, flagged))
    else:
        wear_fleet.say_fleet(book, found, flagged)


def _bike(
    book: Book,
    tag: str,
    part: str | None,
    as_at: str | None,
    as_known: str | None,
    *,
    as_json: bool,
) -> None:
    from ledger.cli import wear_bike
    from ledger.cli.bikes import tag_named
    from ledger.figures.ahead import OF_WEAR, BookTables

    bike, when = tag_named(book, tag), when_asked(book, as_at, as_known)
    ahead = BookTables(book, *when).ask_beside_kept(*OF_WEAR)
    from ledger.figures.bike_wear import bike_wear  # while the engine is at it: much to load
    from ledger.figures.wear import wear_of

    with progress("Working out the wear"):
        wear = wear_of(book, *when, ahead=ahead)
        found = bike_wear(book, bike, *when, part=part, wear=wear)
        choice = _choice(book, found, when, wear)
    if as_json:
        say_json(wear_bike.bike_json(found, choice))
    else:
        wear_bike.say_bike(book, found, choice)


def _choice(
    book: Book, found: BikeWear, when: tuple[datetime | None, int | None], wear: BookWear
) -> BikeChoice | NoChoice | None:
    """Give the choice over a worn chain; None where no chain past watch is shown."""
    from ledger.figures.ahead import BookTables
    from ledger.figures.bench import is_asked
    from ledger.figures.chain_keep import choice_on
    from ledger.figures.chains import chain_book
    from ledger.queries import bike_view

    is_shown = any(part.position == "chain" and part.is_fitted for part in found.parts)
    if not is_shown or not is_asked(bike_view(book, found.bike, *when)):
        return None
    tags = book.aliases(when[1]).get(found.bike)
    of = partial(chain_book, book, *when, tables=wear.tables)
    return choice_on(book, BookTables(book, *when), found.bike, tags, of)
