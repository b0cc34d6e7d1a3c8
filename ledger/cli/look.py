"""`state`, `history` and `bikes`: what the book knows about a bike, as at any date."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.asking import OWNER
from ledger.cli.options import (
    AsAt,
    AsJson,
    AsKnown,
    BookPaths,
    Tag,
    one_book,
    open_book,
    when_asked,
)
from ledger.cli.output import say, say_json, say_table
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.queries import BikeRow, TimelineEntry


def state(
    tag: Tag,
    as_at: AsAt = None,
    as_known: AsKnown = None,
    as_json: AsJson = False,
    book_paths: BookPaths = None,
) -> None:
    """Show one bike as at a date: what is fitted, measured, set, open.

    Examples:
    $ lockring state 7K3M9QXA
    $ lockring state 7K3M9QXA --as-at 2026-03-01 --json
    $ lockring state 7K3M9QXA --as-at 2026-03-01 --as-known 2026-04-01
    $ lockring state quay/7K3M9QXA --book 'books/*'
    """
    from ledger.cli.bikes import tag_named
    from ledger.queries import bike_view
    from ledger.view import view_json

    path = one_book(book_paths)
    if path is None:
        from ledger.cli import look_over

        look_over.state(book_paths, tag, as_at, as_known, as_json=as_json)
        return
    book = open_book(path)
    view = bike_view(book, tag_named(book, tag), *when_asked(book, as_at, as_known))
    if as_json:
        say_json(view_json(view))
        return
    from ledger.cli.bike_page import say_bike

    say_bike(book, view)


def history(
    tag: Tag,
    system: Annotated[
        str | None, typer.Option(help="Only one system, such as drivetrain or rear_brake.")
    ] = None,
    ids: Annotated[bool, typer.Option("--ids", help="Show each event's id, as strike needs.")] = (
        False
    ),
    as_at: AsAt = None,
    as_known: AsKnown = None,
    as_json: AsJson = False,
    book_paths: BookPaths = None,
) -> None:
    """Show everything recorded of one bike, oldest first.

    Struck events stay in the list, marked as struck.

    Examples:
    $ lockring history 7K3M9QXA
    $ lockring history 7K3M9QXA --system drivetrain --ids
    $ lockring history 7K3M9QXA --as-known 2026-04-01 --json
    $ lockring history 7K3M9QXA --book books/quay --book books/pier
    """
    from ledger.cli.bikes import tag_named
    from ledger.queries import timeline

    path = one_book(book_paths)
    if path is None:
        from ledger.cli import look_over

        look_over.history(book_paths, tag, system, as_at, as_known, ids=ids, as_json=as_json)
        return
    book = open_book(path)
    if system is not None and system not in book.vocabulary.systems:
        raise WrongUse(f"--system is one of {', '.join(book.vocabulary.systems)}.")
    at, known = when_asked(book, as_at, as_known)
    entries = timeline(
        book, tag_named(book, tag), as_at=at, known_seq=known, system=system, asker=OWNER
    )
    if as_json:
        say_json([entry_json(entry) for entry in entries])
        return
    _say_entries(book, entries, ids=ids)


def entry_json(entry: TimelineEntry) -> dict[str, Any]:
    """Give one entry of a history as plain JSON types; forgotten text is null."""
    from ledger.events.types import format_moment

    return {
        "seq": entry.seq,
        "id": entry.id,
        "kind": entry.kind,
        "bike": entry.bike,
        "job": entry.job,
        "actor": entry.actor,
        "occurred_at": format_moment(entry.occurred_at),
        "recorded_at": format_moment(entry.recorded_at),
        "position": entry.position,
        "system": entry.system,
        "struck_by": entry.struck_by,
        "data": entry.data,
    }


def _say_entries(book: Book, entries: Sequence[TimelineEntry], *, ids: bool) -> None:
    from ledger.cli import words
    from ledger.cli.event_words import Describer

    known = book.vocabulary
    describer = Describer(known, book.settings)
    zone = book.settings.zone
    rows = []
    for entry in entries:
        what = describer.describe(entry.kind, entry.data)
        row = [
            str(entry.seq),
            words.moment_words(entry.occurred_at, zone),
            f"struck: {what}" if entry.is_struck else what,
            entry.actor,
            entry.job or "",
        ]
        rows.append([*row, entry.id] if ids else row)
    columns = (">seq", "!occurred", "what", "!by", "!job")
    say_table("History", (*columns, "!id") if ids else columns, rows)
    if not rows:
        say("Nothing was recorded by then.")
    if any(words.event_needs_caution(known, one.event) for one in entries if one.event):
        say(words.CAUTION)


def bikes(
    search: Annotated[
        str, typer.Argument(help="Part of a tag, make, model or rider's name; all if none.")
    ] = "",
    limit: Annotated[int, typer.Option(help="At most this many.", min=1)] = 50,
    as_json: AsJson = False,
    book_paths: BookPaths = None,
) -> None:
    """Find bikes, seen last first.

    Examples:
    $ lockring bikes
    $ lockring bikes marsh --json
    $ lockring bikes keel --book 'books/*'
    """
    from ledger.cli.bikes import matching

    path = one_book(book_paths)
    if path is None:
        from ledger.cli import look_over

        look_over.bikes(book_paths, search, limit, as_json=as_json)
        return
    book = open_book(path)
    rows = matching(book, search, limit)
    if as_json:
        say_json([bike_json(row) for row in rows])
        return
    _say_bikes(book, rows)


def bike_json(row: BikeRow) -> dict[str, Any]:
    """Give a bike of a list as plain JSON types."""
    from ledger.view import plain_value

    return {name: plain_value(getattr(row, name)) for name in row.__dataclass_fields__}


def _say_bikes(book: Book, rows: Sequence[BikeRow]) -> None:
    from ledger.cli import words
    from ledger.cli.bike_page import person

    known, zone = book.vocabulary, book.settings.zone
    say_table(
        "Bikes",
        ("!bike", "make", "model", "kind", "rider", ">km", ">jobs", "!last seen"),
        (
            (
                row.bike,
                row.make or "",
                row.model or "",
                words.bike_kind_words(known, row.bike_kind),
                person(book, row.rider) if row.rider else "",
                words.figure(row.distance_km),
                str(row.count_jobs),
                words.day_words(row.last_seen_at, zone),
            )
            for row in rows
        ),
    )
    if not rows:
        say("No bike matches." if book.bikes() else "The book holds no bikes yet.")
