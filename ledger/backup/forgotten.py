"""The list of what is forgotten, beside the events of a backup: only ever added to."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from ledger.backup.keys import FORGOTTEN, BadCopy, forgotten_bytes, read_forgotten
from ledger.backup.standing import begins_with, check_same_book
from ledger.backup.statement import BadStatement, numbers_in, read_statement, statement_name
from ledger.book import Book
from ledger.errors import LedgerError
from ledger.key_backups import EventBackups, Forgotten
from ledger.storage.listing import reading_set
from ledger.storage.objects import Objects, objects_at

_ATTEMPTS = 3


class Told(NamedTuple):
    """A place of a backup: its list is up to date, or why it could not be brought there."""

    place: str
    not_because: str | None = None


def put_forgotten(register: Path, place: Objects) -> int:
    """Bring the list at a place up to date with a register's; give how much it holds.

    It is read again once it is written: somebody else may have written theirs meanwhile.
    """
    held = set(Forgotten(register).all())
    for _ in range(_ATTEMPTS):
        with suppress(BadCopy, FileNotFoundError):
            told = place.get(FORGOTTEN)
            held |= set(read_forgotten(told))
            if forgotten_bytes(held) == told:
                break
        place.put(FORGOTTEN, forgotten_bytes(held))
    return len(held)


def tell_places(book: Book) -> list[Told]:
    """Bring the list at every place this book's events are backed up to up to date.

    Nothing is raised for a place that does not answer, or is the book's no longer.
    """
    places = EventBackups(book.riders.path).all()
    return [_tell(book, address) for address in places]


def _tell(book: Book, address: str) -> Told:
    try:
        place = objects_at(address)
        _check_ours(book, place)
        put_forgotten(book.riders.path, place)
    except (LedgerError, OSError) as error:
        return Told(address, str(error))
    return Told(address)


def _check_ours(book: Book, place: Objects) -> None:
    """Raise LedgerError where no backup of this book is to be seen at a place."""
    numbers = numbers_in(one.name for one in place.all())
    if not numbers:
        raise LedgerError("no backup is to be seen there; is that disk connected?")
    listing = reading_set(path.name for path in book.files())
    begins = begins_with(book.home.store, listing)
    for number in {numbers[0], numbers[-1]}:
        # Where one is damaged, the other tells.
        with suppress(BadStatement):
            stands = read_statement(place.get(statement_name(number)), statement_name(number))
            check_same_book(place, stands, book.settings.shop, begins)
