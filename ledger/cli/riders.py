"""`riders`: the register of names and contacts, which stands outside the events."""

from __future__ import annotations

from typing import Annotated

import typer

from ledger.cli.guard import Guarded
from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, open_book
from ledger.cli.output import say, say_json, say_table
from ledger.errors import WrongUse

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
    book = open_book(book_path)
    row = enter(book, name=name.strip(), phone=phone, email=email, may_contact=consent, rider=rider)
    if as_json:
        say_json({"rider": row.rider, "name": row.name, "may_contact": row.may_contact})
    else:
        say(f"Entered {row.name} as {row.rider}.")


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
            (row.rider, row.name or "", row.phone or "", row.email or "", _consent(row.may_contact))
            for row in rows
        ),
    )
    if not rows:
        say("Nobody in the register matches." if search else "The register is empty.")


def _consent(may_contact: bool) -> str:
    return "yes" if may_contact else "no"
