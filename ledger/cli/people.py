"""The riders' register from the command line: finding people, and entering them."""

from __future__ import annotations

import secrets
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from ledger.errors import WrongUse
from ledger.events.types import TAG_ALPHABET, format_moment

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.riders import Rider


def new_rider_id() -> str:
    """Give an opaque id for a rider: nothing in it says who it is."""
    return "r-" + "".join(secrets.choice(TAG_ALPHABET) for _ in range(8)).lower()


def enter(
    book: Book,
    *,
    name: str,
    phone: str | None = None,
    email: str | None = None,
    may_contact: bool = False,
    rider: str | None = None,
) -> Rider:
    """Enter somebody in the register, outside the events; raises RiderExists."""
    from ledger.riders import Rider

    row = Rider(
        rider=rider or new_rider_id(),
        name=name,
        phone=phone,
        email=email,
        may_contact=may_contact,
        consent_at=format_moment(datetime.now(UTC)) if may_contact else None,
    )
    book.riders.add([row])
    return row


def matching(book: Book, text: str) -> list[Rider]:
    """Give the riders an id, or a part of a name, phone or email, may mean."""
    exact = book.riders.get(text)
    if exact is not None:
        return [exact]
    wanted = text.casefold()
    return [
        row
        for row in book.riders.all()
        if any(wanted in (field or "").casefold() for field in (row.name, row.phone, row.email))
    ]


def rider_named(book: Book, text: str) -> str:
    """Give the id of the rider or keeper a text means; raises WrongUse."""
    from ledger.queries import whole_table

    found = [row.rider for row in matching(book, text.strip())] if text.strip() else []
    if len(found) == 1:
        return found[0]
    if found:
        more = " ..." if len(found) > 10 else ""
        raise WrongUse(f"--rider: {text!r} may be {', '.join(found[:10])}{more}; write one id.")
    people = whole_table(book, "riders_now")
    known = {*people["rider"].to_pylist(), *people["keeper"].to_pylist()}
    if text in known:
        return text
    raise WrongUse(f"--rider: nobody in the register, and on no bike, is {text!r}.")


def choose(book: Book, text: str) -> str | None:
    """Give the id of the person an answer means, entering a new one where it is `new`.

    None where nobody, or more than one, matches; who does is listed.
    """
    from ledger.cli.output import say
    from ledger.cli.prompts import read_line

    if text.casefold() == "new":
        name = read_line("  Name")
        if not name:
            return None
        phone, email = read_line("  Phone"), read_line("  Email")
        consent = read_line("  May be contacted (yes, no)").casefold() in ("y", "yes")
        row = enter(book, name=name, phone=phone or None, email=email or None, may_contact=consent)
        say(f"  Entered as {row.rider}.")
        return row.rider
    found = matching(book, text)
    if len(found) == 1:
        return found[0].rider
    for row in found[:10]:
        say(f"    {row.rider}: {row.name or 'no name'}")
    return None
