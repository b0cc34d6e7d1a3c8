"""`people`: who may sign in to the pages, as what, and with which PIN."""

from __future__ import annotations

import sys
from getpass import getpass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ledger.asking import ROLES, Role
from ledger.cli.guard import Guarded
from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, open_book
from ledger.cli.output import say, say_json, say_table
from ledger.errors import LedgerError, WrongUse

if TYPE_CHECKING:
    from ledger.private import Person, Private

app = typer.Typer(
    cls=Guarded,
    no_args_is_help=True,
    help="Enter who may sign in to the pages, and as what. PINs stay outside the events.",
)
Name = Annotated[str, typer.Argument(help="The name they sign in with.", metavar="NAME")]
PinFile = Annotated[
    Path | None,
    typer.Option(help="A file with the PIN as its first line; - for standard input."),
]


def _private(book_path: Path) -> Private:
    from ledger.private import Private

    return Private(open_book(book_path).path)


@app.command("add")
def add(
    name: Name,
    role: Annotated[str, typer.Option(help="owner, mechanic or desk.")],
    mechanic: Annotated[
        str | None, typer.Option(help="Their id as a mechanic; a mechanic needs one.")
    ] = None,
    email: Annotated[
        str | None, typer.Option(help="By which a provider of sign-ins knows them.")
    ] = None,
    no_pin: Annotated[
        bool, typer.Option("--no-pin", help="They sign in by a provider alone.")
    ] = False,
    pin_file: PinFile = None,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Let somebody sign in; the PIN is asked for twice, and never shown.

    Examples:
    $ lockring people add olga --role owner
    $ lockring people add ada --role mechanic --mechanic m1
    $ lockring people add dora --role desk --email dora@quay.example --no-pin
    """
    from ledger.private import Person

    book = open_book(book_path)
    person = Person(_named(name), _role(role), mechanic, _address(email))
    if role == "mechanic" and mechanic is None:
        raise WrongUse("--role mechanic needs --mechanic: whose minutes are theirs to see.")
    if mechanic is not None and mechanic not in book.mechanics:
        known = ", ".join(sorted(book.mechanics)) or "nobody yet"
        raise WrongUse(f"--mechanic {mechanic} is not registered. Registered: {known}.")
    if no_pin and email is None:
        raise WrongUse("--no-pin needs --email: without either nobody could sign in.")
    pin = None if no_pin else _pin(pin_file)
    _private(book_path).add(person, pin)
    say(f"{name} may sign in as {role}.")


@app.command("list")
def list_people(as_json: AsJson = False, book_path: BookPath = DEFAULT_BOOK) -> None:
    """List who may sign in.

    Examples:
    $ lockring people list
    $ lockring people list --json
    """
    found = _private(book_path).people()
    if as_json:
        say_json([_json(one) for one in found])
        return
    say_table(
        "People",
        ("!name", "role", "!mechanic", "email", "PIN"),
        (
            (one.person, one.role, one.mechanic or "", one.email or "", _yes(one.has_pin))
            for one in found
        ),
    )
    if not found:
        say("Nobody may sign in yet: lockring people add NAME --role owner.")


@app.command("pin")
def pin(name: Name, pin_file: PinFile = None, book_path: BookPath = DEFAULT_BOOK) -> None:
    """Give somebody another PIN; whatever they are signed in on ends.

    Examples:
    $ lockring people pin ada
    """
    private = _private(book_path)
    private.person(name)
    private.set_pin(name, _pin(pin_file))
    say(f"{name} has another PIN, and is signed out everywhere.")


@app.command("remove")
def remove(name: Name, book_path: BookPath = DEFAULT_BOOK) -> None:
    """Let somebody sign in no longer, from now on.

    Examples:
    $ lockring people remove ada
    """
    _private(book_path).remove(name)
    say(f"{name} may no longer sign in, and is signed out everywhere.")


@app.command("sign-out")
def sign_out(
    name: Annotated[
        str | None, typer.Argument(help="Whom; everybody if not given.", metavar="NAME")
    ] = None,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Sign somebody out everywhere, or everybody.

    Examples:
    $ lockring people sign-out ada
    $ lockring people sign-out
    """
    private = _private(book_path)
    if name is not None:
        private.person(name)
    count = private.end_all(name)
    say(f"{count} sign-in{'' if count == 1 else 's'} ended.")


def _json(one: Person) -> dict[str, str | bool | None]:
    return {
        "name": one.person,
        "role": one.role,
        "mechanic": one.mechanic,
        "email": one.email,
        "has_pin": one.has_pin,
    }


def _yes(is_so: bool) -> str:
    return "yes" if is_so else "no"


def _named(name: str) -> str:
    from ledger.cli.drafts import checked_ref

    checked_ref("NAME", name)
    return name


def _role(role: str) -> Role:
    if role not in ROLES:
        raise WrongUse(f"--role is one of {', '.join(ROLES)}.")
    return role


def _address(email: str | None) -> str | None:
    if email is not None and (email.count("@") != 1 or email.startswith("@") or " " in email):
        raise WrongUse(f"--email {email} is no address, such as dora@quay.example.")
    return email


def _pin(file: Path | None) -> str:
    """Give the PIN: from a file, standard input, or typed twice unseen. Raises PoorPin."""
    from ledger.private import check_pin

    if file is None and sys.stdin.isatty():
        pin = getpass("PIN: ")
        check_pin(pin)
        if getpass("The same PIN again: ") != pin:
            raise LedgerError("The two PINs differ. Nothing was entered.")
        return pin
    is_piped = file is None or str(file) == "-"
    text = sys.stdin.readline() if is_piped or file is None else file.read_text("utf-8")
    pin = (text.splitlines() or [""])[0].strip()
    check_pin(pin)
    return pin
