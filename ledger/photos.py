"""Photos of a bike: without a trace of where or by whom they were taken, encrypted, in the book.

A photo is encoded anew from its bare pixels, sealed with the key of the bike's rider (the book's
own where it has none) by AES-SIV, and named by the SHA-256 of that ciphertext. The file is
durable before its event is recorded. Forgetting the rider makes it noise.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from ledger.errors import BookDamaged, LedgerError, Refused
from ledger.pictures import Bare, PictureRefused, bare
from ledger.state import live

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.events import Event
    from ledger.receipts import Receipt

_NAME = re.compile(r"[0-9a-f]{64}")


class PhotoRefused(LedgerError):
    """What was handed in is no photo that can be kept."""


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as it was attached; the picture itself is read by `read_photo`."""

    event: str
    photo: str
    """The SHA-256 of the ciphertext, and the file's name."""
    key: str
    media_type: str
    job: str | None
    position: str | None
    caption: str | None
    """None where there is none, or its key is gone."""
    is_before: bool | None
    """Before the work, or after it; None where nobody said."""
    actor: str
    taken_at: datetime


def add_photo(
    book: Book,
    bike: str,
    job: str | None,
    actor: str,
    content: bytes | Bare,
    *,
    event_id: str | None = None,
    position: str | None = None,
    caption: str | None = None,
    is_before: bool | None = None,
    confirm_clock: bool = False,
) -> Receipt:
    """Keep a photo (JPEG, PNG or WebP, or its `picture_of`) and record that it is attached.

    The same photo twice is one file. `event_id` makes a press that is sent twice one event.
    Raises PhotoRefused, and what `Book.append` raises; then no event is recorded.
    """
    picture = content if isinstance(content, Bare) else picture_of(content)
    rider = _rider_of(book, bike)
    key = book.keys.keys_for([rider])[rider]
    sealed = book.keys.seal_bytes(key, picture.content)
    if sealed is None:
        raise PhotoRefused("The key of this bike's rider is gone. Say who rides it now, first.")
    name = hashlib.sha256(sealed).hexdigest()
    data = {"photo": name, "key": key, "media_type": picture.media_type, "position": position}
    told = {**data, "caption": caption or None, "is_before": is_before}
    where = {"id": event_id, "bike": bike, "job": job}
    draft = {
        "kind": "photo_attached",
        "actor": actor,
        **{field: value for field, value in where.items() if value is not None},
        "data": {field: value for field, value in told.items() if value is not None},
    }
    checked = book.check([draft])
    if checked.problems:
        raise Refused(checked.problems)
    _keep(book, name, sealed)
    return book.append([draft], confirm_clock=confirm_clock)


def picture_of(content: bytes) -> Bare:
    """Give what is kept of a photo, which takes up to seconds; raises PhotoRefused."""
    try:
        return bare(content)
    except PictureRefused as refused:
        raise PhotoRefused(str(refused)) from None


def _rider_of(book: Book, bike: str) -> str | None:
    """Give whose key seals what is written about a bike now."""
    book.require_bike(bike)
    told = [event for event in live(book.bike_events(bike)) if event.kind == "rider_changed"]
    return told[-1].data.rider if told else None


def _keep(book: Book, name: str, sealed: bytes) -> None:
    """Make the file last under its name; one that is there already holds the same."""
    try:
        book.home.keep_photo(name, sealed)
    except FileExistsError:
        if _read(book, name) != sealed:
            raise _damaged(name) from None


def _read(book: Book, name: str) -> bytes:
    """Give a file's ciphertext; raises BookDamaged where it is not what its name says."""
    if not _NAME.fullmatch(name):
        raise PhotoRefused(f"{name!r} is not the name of a photo.")
    try:
        sealed = book.home.photo(name)
    except FileNotFoundError:
        raise _damaged(name) from None
    if hashlib.sha256(sealed).hexdigest() != name:
        raise _damaged(name)
    return sealed


def _damaged(name: str) -> BookDamaged:
    return BookDamaged(
        f"The photo photos/{name[:12]}… of this book is missing or damaged. Put it back from a "
        "backup, unless it was removed with a rider who was forgotten; everything else of the book "
        "can be read."
    )


def photo_of(event: Event, told: Mapping[str, Any]) -> Photo:
    """Give the photo of a `photo_attached` event; `told` is its payload, opened."""
    assert event.kind == "photo_attached"
    return Photo(
        event=event.id,
        photo=event.data.photo,
        key=event.data.key,
        media_type=event.data.media_type,
        job=event.job,
        position=event.data.position,
        caption=told.get("caption"),
        is_before=event.data.is_before,
        actor=event.actor,
        taken_at=event.occurred_at,
    )


def photos_of(book: Book, bike: str, job: str | None = None) -> list[Photo]:
    """Give the photos attached to a bike (of one job, or all), newest first; raises UnknownBike."""
    book.require_bike(bike)
    attached = [event for event in live(book.bike_events(bike)) if event.kind == "photo_attached"]
    chosen = [event for event in attached if job in (None, event.job)]
    return [photo_of(event, book.reveal(event)["data"]) for event in reversed(chosen)]


def read_photo(book: Book, photo: str, key: str) -> bytes | None:
    """Give the picture's bytes; None where its key is gone, whether or not the file is there.

    Raises BookDamaged where the file is missing or does not hash to its name, PhotoRefused for a
    name that is none, and Unreachable where it lies on an object store that does not answer.
    """
    if not book.keys.has(key):
        return None
    return book.keys.open_bytes(key, _read(book, photo))
