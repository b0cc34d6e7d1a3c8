"""Consent to be contacted: given, withdrawn, and since when.

Whoever has not given it, or took it back, is in no call list with name, contact or message.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from ledger.events.types import format_moment
from ledger.riders import no_rider

if TYPE_CHECKING:
    from ledger.book import Book


def note_consent(book: Book, rider: str, *, may_contact: bool, since: datetime) -> None:
    """Note that a rider agreed to be contacted, or no longer does; durable when this returns.

    On an object store, there first. Raises UnknownRider, and WriteRefused where it is silent.
    """
    at = format_moment(since)
    if book.riders.get(rider) is None:
        raise no_rider(rider)
    book.riders.set_consent(rider, may_contact=may_contact, at=at)
