"""The rider's page as plain data: what was found, done, advised, and what stands behind it.

Everything is in words of the bench, with days and figures as the book's locale writes them.
There is no cost, no margin, nobody's minutes and no other rider in any of these.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime

from ledger.events.types import format_moment

RECEIPT_FORMAT = 1


@dataclass(frozen=True, slots=True)
class Found:
    """One look at a position or a system, or one search for a cause."""

    what: str
    said: str
    """Fault and cause, why it was not checked, what the look took in; may be empty."""
    state: str
    """"put right or gone" or "left as it is" of a fault, and of a look that judged due or unsafe;
    else empty."""
    verdict: str


@dataclass(frozen=True, slots=True)
class Measured:
    """One reading, with its limit and its verdict in words."""

    what: str
    figure: str
    limit: str
    verdict: str


@dataclass(frozen=True, slots=True)
class Moved:
    """One part fitted or taken off."""

    what: str
    part: str
    said: str


@dataclass(frozen=True, slots=True)
class Set:
    """One figure set, with the maker's range or maximum as far as the book knows it."""

    what: str
    figure: str
    makers: str
    is_outside: bool
    """It lies outside the maker's range."""


@dataclass(frozen=True, slots=True)
class Advice:
    """Something advised or offered, and what the keeper answered."""

    what: str
    said: str
    answer: str
    verdict: str


@dataclass(frozen=True, slots=True)
class Due:
    """When a part reaches its limit: the day of even odds and the 80 % range, in words."""

    what: str
    read: str
    when: str
    between: str


@dataclass(frozen=True, slots=True)
class HandedBack:
    """How the bike was checked and released."""

    day: str
    ride: str
    """That it was test ridden, or that it was not, and why."""
    rechecked: str
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ReceiptOfBook:
    """What the book was when the page was made: whoever keeps it can tell a later rewrite."""

    shop: str
    bike: str
    job: str
    size: int
    """Events in the book."""
    root: str
    """RFC 6962 root over them, hexadecimal."""
    recorded_at: datetime
    """When the newest of them was recorded."""
    seq: int
    """The newest event of the job."""
    signature: str | None = None
    """By the book's key, over its root (`ledger.signing.statement`), 86 characters of base64url;
    None where the book can only be read."""

    def text(self) -> str:
        """Give what the QR code holds: one line of JSON, its keys in this order."""
        held = {
            "lockring": RECEIPT_FORMAT,
            "shop": self.shop,
            "size": self.size,
            "root": self.root,
            "at": format_moment(self.recorded_at),
            "bike": self.bike,
            "job": self.job,
            "seq": self.seq,
        }
        signed = {"sig": self.signature} if self.signature else {}
        return json.dumps({**held, **signed}, separators=(",", ":"))


@dataclass(frozen=True, slots=True)
class Report:
    """One visit of one bike, for the rider."""

    shop: str
    """The shop's name."""
    bike: str
    name: str
    """Make and model; that they are not known, where they are not."""
    rider: str | None
    """The name in the register; None where none is there, or another rider had the bike then."""
    job: str
    tier: str
    is_open: bool
    days: str
    """From booking in to closing."""
    distance: str
    made_at: datetime
    made_on: str
    territory: str | None
    """Of the locale, such as `NL`: how days and figures are written."""
    asked: tuple[str, ...]
    """The complaint, what the bike came with, and whether the visit answers for earlier work."""
    left_open: tuple[str, ...]
    """What is left as it is although it was judged due or unsafe."""
    found: tuple[Found, ...]
    not_looked_at: tuple[str, ...]
    """Systems of which no look and no reading was recorded in this visit."""
    measured: tuple[Measured, ...]
    moved: tuple[Moved, ...]
    set: tuple[Set, ...]
    treated: tuple[str, ...]
    advice: tuple[Advice, ...]
    due: tuple[Due, ...]
    unread: tuple[str, ...]
    """Fitted and never read, so that nothing can be said of them."""
    handed_back: HandedBack | None
    not_torqued: tuple[str, ...]
    """Disturbed and not torqued since."""
    unbilled: tuple[str, ...]
    price: str
    """The one sum told to the rider, with tax; empty where none was."""
    caution: str
    size: str
    """How many events the book holds, as the locale writes it."""
    receipt: ReceiptOfBook
