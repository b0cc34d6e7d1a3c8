"""Photos of a bike: without a trace of where or by whom they were taken, encrypted, in the book.

A photo is re-encoded from its bare pixels, sealed with the key of the bike's rider (the book's
own where it has none) by AES-SIV, and named by the SHA-256 of that ciphertext. The file is
durable before its event is recorded. Forgetting the rider makes it noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.errors import LedgerError

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.receipts import Receipt

MOST_BYTES = 20 * 1024 * 1024
"""A photo larger than this is refused."""
MOST_SIDE = 2048
"""Longer sides are scaled down to this many pixels."""


class PhotoRefused(LedgerError):
    """What was handed in is no photo that can be kept."""


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo as it was attached."""

    event: str
    photo: str
    key: str
    media_type: str
    job: str | None
    position: str | None
    caption: str | None
    is_before: bool | None
    actor: str
    taken_at: str


def add_photo(
    book: Book,
    bike: str,
    job: str | None,
    actor: str,
    content: bytes,
    *,
    event_id: str | None = None,
    position: str | None = None,
    caption: str | None = None,
    is_before: bool | None = None,
    confirm_clock: bool = False,
) -> Receipt:
    """Keep a photo (JPEG, PNG or WebP) and record that it is attached.

    The same photo twice is one file. `event_id` makes a press that is sent twice one event.
    Raises PhotoRefused, and what `Book.append` raises.
    """
    raise NotImplementedError


def photos_of(book: Book, bike: str, job: str | None = None) -> list[Photo]:
    """Give the photos attached to a bike (of one job, or all), newest first."""
    raise NotImplementedError


def read_photo(book: Book, photo: str, key: str) -> bytes | None:
    """Give the picture's bytes; None where its key is gone.

    Raises BookDamaged where the file is missing or does not hash to its name.
    """
    raise NotImplementedError
