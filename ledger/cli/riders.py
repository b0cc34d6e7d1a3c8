"""`riders`: the register of names and contacts, which stands outside the events."""

from __future__ import annotations

import re
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ledger.cli.guard import Guarded
from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, open_book
from ledger.cli.output import progress, say, say_json, say_table, warn
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.riders import Rider

app = typer.Typer(
    cls=Guarded,
    no_args_is_help=True,
    help="Enter and find riders. Names and contacts stay outside the events.",
)


@app.command("add")
def add(
    name: Annotated[str, typer.Option(help="The name on the report.")],
    phone: Annotated[str | None, typer.Option(help="A telephone number.")] = None,
    email: Annotated[str | None, typer.Option(help="An email address.")] = None,
    consent: Annotated[
        bool, typer.Option("--consent", help="They agreed to be contacted about what is due.")
    ] = False,
    rider: Annotated[
        str | None, typer.Option("--id", help="Your own opaque id; made up if not given.")
    ] = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Enter a rider in the register.

    Examples:
    $ lockring riders add --name "Inge Marsh" --phone 555-0107 --consent
    """
    from ledger.cli.drafts import checked_ref
    from ledger.cli.people import enter

    if not name.strip():
        raise WrongUse("--name: write a name.")
    if rider is not None:
        checked_ref("--id", rider)
        if _tells_who(rider, name):
            warn(TELLS_WHO)
    book = open_book(book_path)
    row = enter(book, name=name.strip(), phone=phone, email=email, may_contact=consent, rider=rider)
    if as_json:
        say_json({"rider": row.rider, "name": row.name, "may_contact": row.may_contact})
    else:
        say(f"Entered {row.name} as {row.rider}.")


TELLS_WHO = (
    "--id: it seems to tell who this is. It stands in events for ever, and forgetting cannot reach "
    "it; leave --id out, and one that tells nothing is made up."
)


def _tells_who(rider: str, name: str) -> bool:
    """Say whether an id is a word of the name, or a way to reach somebody."""
    from ledger.rules.personal_words import personal_in

    parts = set(re.split(r"[^\w]|_", rider.casefold()))
    named = {word for word in re.split(r"\W+", name.casefold()) if len(word) > 2}
    return bool(parts & named) or personal_in(rider) is not None


@app.command("consent")
def consent(
    rider: Annotated[str, typer.Argument(help="A rider's id; see lockring riders list.")],
    given: Annotated[
        bool | None,
        typer.Option("--given/--withdrawn", help="They agreed to be contacted, or no longer do."),
    ] = None,
    on: Annotated[
        str | None, typer.Option(help="Since when: a date, or a date and time; now if not given.")
    ] = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Note that a rider agreed to be contacted, or took it back.

    Examples:
    $ lockring riders consent r-0042 --given
    $ lockring riders consent r-0042 --withdrawn --on 2026-03-01
    """
    from ledger.book import utc_now
    from ledger.cli.drafts import instant
    from ledger.consent import note_consent
    from ledger.events.types import format_moment

    if given is None:
        raise WrongUse("Say which: --given or --withdrawn.")
    book = open_book(book_path)
    since = min(instant(book, on), utc_now()) if on is not None else utc_now()
    note_consent(book, rider, may_contact=given, since=since)
    if as_json:
        say_json({"rider": rider, "may_contact": given, "consent_at": format_moment(since)})
    else:
        what = "may be contacted" if given else "is not to be contacted"
        say(f"Rider {rider} {what}, since {book.settings.local(since):%Y-%m-%d}.")


@app.command("export")
def export_one(
    rider: Annotated[str, typer.Argument(help="A rider's id; see lockring riders list.")],
    out: Annotated[
        Path | None,
        typer.Option(
            help="A new folder, or FILE.json; without it, JSON and no photos are printed."
        ),
    ] = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Give a rider everything that is held about them, text and photos opened.

    Nothing about other people is in it, nor the shop's costs and minutes.

    Examples:
    $ lockring riders export r-0042 --out for-inge
    $ lockring riders export r-0042 --json
    """
    from ledger.book import utc_now
    from ledger.exchange.rider import export_rider, write_rider

    book = open_book(book_path)
    with progress("Looking for everything about them", book.head.size) as tell:
        found = export_rider(book, rider, now=utc_now(), tell=tell)
    if out is None:
        say_json(found.document)
        if found.photos:
            warn(f"Photos are left out ({len(found.photos)}); --out FOLDER writes them too.")
        return
    written = [str(path) for path in write_rider(found, out)]
    if as_json:
        say_json({"rider": rider, "written": written})
    else:
        events, photos = len(found.document["events"]), len(found.photos)
        say(f"Wrote {events:,} events and {photos:,} photos about rider {rider} to {out}.")


@app.command("list")
def list_riders(
    search: Annotated[
        str, typer.Argument(help="An id, or part of a name, phone or email; all if none.")
    ] = "",
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """List the riders in the register.

    Examples:
    $ lockring riders list
    $ lockring riders list marsh --json
    """
    from ledger.cli.people import matching

    book = open_book(book_path)
    rows = matching(book, search.strip()) if search.strip() else book.riders.all()
    _warn_of_unfinished(book)
    if as_json:
        say_json(
            [
                {
                    "rider": row.rider,
                    "name": row.name,
                    "phone": row.phone,
                    "email": row.email,
                    "may_contact": row.may_contact,
                    "consent_at": row.consent_at,
                }
                for row in rows
            ]
        )
        return
    say_table(
        "Riders",
        ("!rider", "name", "phone", "email", "may be contacted"),
        (
            (row.rider, row.name or "", row.phone or "", row.email or "", _consent(book, row))
            for row in rows
        ),
    )
    if not rows:
        say("Nobody in the register matches." if search else "The register is empty.")


def _consent(book: Book, row: Rider) -> str:
    """Give whether somebody may be contacted, and since when that is so."""
    said = "yes" if row.may_contact else "no"
    if row.consent_at is None:
        return said
    since = f"{book.settings.local(datetime.fromisoformat(row.consent_at)):%Y-%m-%d}"
    return f"{said}, since {since}" if row.may_contact else f"withdrawn {since}"


def _warn_of_unfinished(book: Book) -> None:
    from ledger.forgetting import unfinished

    for rider in unfinished(book):
        warn(f"Forgetting {rider} was begun and not finished. Run: lockring forget {rider}")
