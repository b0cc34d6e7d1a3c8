"""What stands at a place already, and whether a book may be backed up over it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from ledger.backup.statement import (
    BadStatement,
    Statement,
    numbers_in,
    read_statement,
    statement_name,
)
from ledger.errors import LedgerError
from ledger.storage.files import footer_of
from ledger.storage.listing import Listing
from ledger.storage.objects import Named, Objects
from ledger.storage.store import Store


class OtherBackup(LedgerError):
    """The place holds something that a backup of this book must not be mixed with."""


def begins_with(store: Store, listing: Listing) -> str | None:
    """Give the root after a book's first commit; None of an empty book."""
    return footer_of(store, listing.files[0].name).marks[0].root if listing.files else None


def claim(place: Objects, there: Mapping[str, Named], shop: str, begins: str | None,
          now: datetime) -> None:  # fmt: skip
    """Make an empty place the place of a book's backups; raises OtherBackup where it is not empty.

    Raises FileExistsError where somebody else does so right now.
    """
    if others := [name for name in there if not name.startswith(".")]:
        raise OtherBackup(
            f"{place.address} holds something that is no backup ({others[0]}). Name an empty or a "
            "new place."
        )
    begun = Statement(0, now, shop, begins)
    place.create(begun.name, begun.to_bytes(None))


def standing(
    place: Objects, there: Mapping[str, Named], store: Store, listing: Listing, shop: str
) -> Statement | None:
    """Give the statement that stands at a book's own place; None where none can be read, or yet is.

    Raises OtherBackup where it is the place of another book, or of a later state of this one.
    """
    numbers = numbers_in(there)
    first, stands = _read(place, numbers[0]), _read(place, numbers[-1])
    for one in (first, stands):
        if one is not None:
            check_same_book(place, one, shop, begins_with(store, listing))
    if first is None and stands is None:
        raise OtherBackup(
            f"Whose backup {place.address} holds cannot be told: what it says of itself is "
            "damaged. Name another place; `lockring restore` brings back what is whole there."
        )
    if stands is None or stands.is_begun:
        return None
    _check_history(place, stands, store, listing)
    return stands


def _read(place: Objects, number: int) -> Statement | None:
    name = statement_name(number)
    try:
        return read_statement(place.get(name), name)
    except BadStatement:
        return None


def check_same_book(place: Objects, one: Statement, shop: str, begins: str | None) -> None:
    """Raise OtherBackup where a statement is of another book than that of a shop and a root."""
    is_other = None not in (one.begins, begins) and one.begins != begins
    if one.shop != shop or is_other:
        raise OtherBackup(
            f"{place.address} holds the backup of another book (shop '{one.shop}', made "
            f"{one.made_at:%Y-%m-%d}). Name another place."
        )


def _check_history(place: Objects, stands: Statement, store: Store, listing: Listing) -> None:
    """Hold the book to what it was: an older copy, or a rewritten book, must not replace it."""
    if stands.commit == 0:
        return
    cover = listing.covering(stands.commit)
    if cover is not None and cover.last >= stands.commit:
        mark = footer_of(store, cover.name).marks[stands.commit - cover.first]
        if (mark.size, mark.root) == (stands.size, stands.root):
            return
    raise OtherBackup(
        f"{place.address} holds {stands.size:,} events up to commit {stands.commit}, and this book "
        f"does not have them as they are there: it goes to commit {listing.last}, or was "
        "rewritten. Compare it with what `lockring restore` brings back, and name another place."
    )
