"""The book's signature: an Ed25519 key of its own, and what is signed with it.

The private key lies in `private.sqlite` and never leaves it. Anybody can check a signature with the
public key, which every receipt and every line of the witness file carries.
"""

from __future__ import annotations

import base64
import binascii
import sqlite3
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import (
    Ed25519PrivateKey,
    Ed25519PublicKey,
)

from ledger.errors import LedgerError
from ledger.events.types import format_moment
from ledger.private import FILE, Private

_SECRET = "signing key"


@dataclass(frozen=True, slots=True)
class SignedRoot:
    """What a book was at a size, signed: whoever keeps it can tell a later rewrite."""

    shop: str
    size: int
    """Events in the book."""
    root: str
    """RFC 6962 root over them, 64 hexadecimal digits."""
    recorded_at: datetime
    """When the newest of them was recorded."""
    key: str
    """The public key, 64 hexadecimal digits (RFC 8032)."""
    signature: str
    """Over `statement`, 86 characters of base64url (RFC 8032, RFC 4648)."""

    @property
    def is_signed(self) -> bool:
        """Tell whether the signature is by the key, over these very figures."""
        said = statement(self.shop, self.size, self.root, self.recorded_at)
        return is_signature(self.key, said, self.signature)


class NoKey(LedgerError):
    """The book's signing key cannot be read, and none can be made."""


class Signer:
    """A book's private key; it is made when it is first needed."""

    def __init__(self, book: Path) -> None:
        """Take the key of a book's folder; raises NoKey where it can be neither read nor made."""
        try:
            secret = Private(book).secret(_SECRET)
        except (OSError, sqlite3.Error) as error:
            raise NoKey(
                f"The book's signing key, in {book / FILE}, can be neither read nor made "
                f"({error}). Nothing was signed."
            ) from error
        self._key = Ed25519PrivateKey.from_private_bytes(secret)

    @property
    def key(self) -> str:
        """Give the public key, 64 hexadecimal digits."""
        return self._key.public_key().public_bytes_raw().hex()

    def sign(self, shop: str, size: int, root: str, recorded_at: datetime) -> SignedRoot:
        """Sign what the book of a shop was at a size."""
        signature = self.signature(statement(shop, size, root, recorded_at))
        return SignedRoot(shop, size, root, recorded_at, self.key, signature)

    def signature(self, said: bytes) -> str:
        """Sign bytes whose first line says what they are; 86 characters of base64url."""
        return _text(self._key.sign(said))


def statement(shop: str, size: int, root: str, recorded_at: datetime) -> bytes:
    """Give the bytes that are signed: five lines of UTF-8, each ended by a line feed."""
    lines = ("lockring root 1", shop, str(size), root, format_moment(recorded_at))
    return "".join(f"{line}\n" for line in lines).encode()


def is_signature(key: str, said: bytes, signature: str) -> bool:
    """Tell whether a signature is by a key (64 hexadecimal digits) over these bytes."""
    try:
        raw = base64.b64decode(signature + "==", altchars=b"-_", validate=True)
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(raw, said)
    except (InvalidSignature, ValueError, binascii.Error):
        return False
    # The last of the 86 signs has bits to spare: one signature is one text.
    return _text(raw) == signature


def _text(signature: bytes) -> str:
    return base64.urlsafe_b64encode(signature).rstrip(b"=").decode()
