"""What a receipt is: a small JSON document that stands by itself."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Any

from ledger.events.types import format_moment
from ledger.signing import SignedRoot

FORMAT = 1


@dataclass(frozen=True, slots=True)
class ReceiptOfEvent:
    """That an event stands in the book at its place."""

    signed: SignedRoot
    seq: int
    id: str
    event: bytes
    """The bytes that were hashed: the event's RFC 8785 form."""
    path: tuple[bytes, ...]
    """RFC 6962 audit path, nearest sibling first."""

    def to_json(self) -> dict[str, Any]:
        """Give the document as plain JSON types."""
        head = _head("event", self.signed)
        event = base64.b64encode(self.event).decode()
        own = {"seq": self.seq, "id": self.id, "event": event}
        return {**head, **own, "path": [one.hex() for one in self.path], **_tail(self.signed)}


@dataclass(frozen=True, slots=True)
class ReceiptOfGrowth:
    """That the book, as it was at one size, was only added to."""

    signed: SignedRoot
    from_size: int
    from_root: str
    """RFC 6962 root at that size, 64 hexadecimal digits."""
    path: tuple[bytes, ...]
    """RFC 6962 consistency proof."""

    def to_json(self) -> dict[str, Any]:
        """Give the document as plain JSON types."""
        own = {"from_size": self.from_size, "from_root": self.from_root}
        path = [one.hex() for one in self.path]
        return {**_head("growth", self.signed), **own, "path": path, **_tail(self.signed)}


Receipt = ReceiptOfEvent | ReceiptOfGrowth


def _head(kind: str, signed: SignedRoot) -> dict[str, Any]:
    return {
        "lockring": FORMAT,
        "kind": kind,
        "shop": signed.shop,
        "size": signed.size,
        "root": signed.root,
        "recorded_at": format_moment(signed.recorded_at),
    }


def _tail(signed: SignedRoot) -> dict[str, Any]:
    return {"key": signed.key, "signature": signed.signature}
