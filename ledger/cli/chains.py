"""`chains`: who lets chains run long, what followed and what it costs, and when to change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.cli.options import DEFAULT_BOOK, AsAt, AsJson, BookPath, open_book
from ledger.cli.output import say_json
from ledger.errors import UnknownBike

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.figures.chain_report import ChainsReport, RiderChains


def chains(
    rider: Annotated[
        str | None, typer.Option(help="Only one rider, by id or name; or one bike, by tag.")
    ] = None,
    limit: Annotated[int, typer.Option(help="At most this many riders.", min=1)] = 20,
    as_at: AsAt = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Show who lets chains run long, what it costs, and when changing is cheapest.

    Examples:
    $ lockring chains
    $ lockring chains --rider reed
    $ lockring chains --as-at 2026-03-01 --limit 5 --json
    """
    from ledger.cli.drafts import instant
    from ledger.figures.ahead import BookTables
    from ledger.figures.bench import choice_from
    from ledger.figures.chain_keep import book_chains

    book = open_book(book_path)
    when = instant(book, as_at) if as_at is not None else None
    of = book_chains(book, BookTables(book, when))
    report = of.report
    rider = None if rider is None else _asked(book, report, rider)
    rows = report.riders if rider is None else [r for r in report.riders if _is_of(r, rider)]
    riders = rows[:limit]
    tags = [bike for row in riders if rider is not None for bike in row.bikes]
    choices = [choice_from(of.drivetrains, bike) for bike in tags]
    if as_json:
        found = {**plain(report), "riders": plain(riders)}
        say_json({**found, "bench": plain(choices)} if rider is not None else found)
        return
    from ledger.cli.chain_tables import say_chains, say_choice

    say_chains(book, report, riders, rider)
    for choice in choices:
        say_choice(book, choice)


def _asked(book: Book, report: ChainsReport, text: str) -> str:
    """Give the tag or the rider's id that a text means; raises WrongUse."""
    from ledger.cli.bikes import tag_named
    from ledger.cli.people import rider_named
    from ledger.kept.rows import first_with

    if text and first_with(report.riders, "rider", (text,)) is not None:
        return text
    try:
        return tag_named(book, text)
    except UnknownBike:
        return rider_named(book, text)


def _is_of(row: RiderChains, asked: str) -> bool:
    return row.rider == asked or asked in row.bikes


def plain(value: Any) -> Any:
    """Give dataclasses, and lists and mappings of them, as plain JSON types."""
    from ledger.events.types import format_moment

    if hasattr(value, "__dataclass_fields__"):
        return {name: plain(getattr(value, name)) for name in value.__dataclass_fields__}
    if isinstance(value, datetime):
        return format_moment(value)
    if isinstance(value, Mapping):
        return {name: plain(one) for name, one in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [plain(one) for one in value]
    return value
