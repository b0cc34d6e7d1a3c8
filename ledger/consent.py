"""Consent to be contacted: given, withdrawn, and since when.

Whoever has not given it, or took it back, is in no call list with name, contact or message.
"""

from __future__ import annotations

import json
from datetime import datetime
from typing import TYPE_CHECKING

from ledger.errors import Unreachable, WriteRefused
from ledger.events.types import format_moment
from ledger.riders import UnknownRider, no_rider
from ledger.storage.address import is_address

if TYPE_CHECKING:
    from ledger.book import Book


def note_consent(book: Book, rider: str, *, may_contact: bool, since: datetime) -> None:
    """Note that a rider agreed to be contacted, or no longer does; durable when this returns.

    On an object store, there first. Raises UnknownRider, and WriteRefused where it is silent.
    """
    at = format_moment(since)
    if book.riders.get(rider) is None:
        raise no_rider(rider)
    if is_address(book.home.address):
        _note_far(book.home.address, rider, may_contact, at)
    book.riders.set_consent(rider, may_contact=may_contact, at=at)


def _note_far(address: str, rider: str, may_contact: bool, at: str) -> None:
    # The client of object stores is loaded for those who have one.
    from ledger.home.register import RIDERS, object_name
    from ledger.storage.objects import objects_at

    objects, name = objects_at(address), object_name(RIDERS, rider)
    try:
        told = json.loads(objects.get(name))
        told |= {"may_contact": int(may_contact), "consent_at": at}
        objects.put(name, json.dumps(told, ensure_ascii=False).encode())
    except FileNotFoundError:
        raise UnknownRider(f"Rider {rider} was forgotten just now.") from None
    except Unreachable as error:
        raise WriteRefused(f"Nothing was noted: {error}") from error
