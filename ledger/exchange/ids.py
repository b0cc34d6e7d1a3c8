"""Ids that come out the same however often the same rows are brought in.

A UUID of version 7 (RFC 9562) whose time is the row's and whose random bits are a SHA-256 of the
shop, what stands in the row, which of several identical rows it is, and which event of the row.
"""

from __future__ import annotations

import hashlib
from array import array
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np

from ledger.events.types import TAG_ALPHABET

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)


def uuid7(moment: datetime, digest: bytes) -> str:
    """Give the id for an instant (before 1970: the epoch) and at least 10 bytes of digest."""
    milliseconds = max(0, (moment - _EPOCH) // _MILLISECOND)
    random = int.from_bytes(digest[:10], "big")
    high, low = (random >> 68) & 0xFFF, (random >> 2) & ((1 << 62) - 1)
    number = milliseconds << 80 | 7 << 76 | high << 64 | 2 << 62 | low
    text = f"{number:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def same_digest(first: str, second: str) -> bool:
    """Tell whether two ids were made from the same digest, whatever their time."""
    return first[14:] == second[14:]


def digest(*parts: str) -> bytes:
    """Give the SHA-256 of texts, each kept apart from the next."""
    return hashlib.sha256("\x1e".join(parts).encode("utf-8", "surrogatepass")).digest()


def row_digest(shop: str, columns: Sequence[str], cells: Sequence[str]) -> bytes:
    """Give the SHA-256 of what a row says, in any order of columns; empty cells say nothing."""
    filled = (
        f"{column}\x1f{cell.strip()}"
        for column, cell in zip(columns, cells, strict=True)
        if cell.strip()
    )
    return digest(shop, *sorted(filled))


def tag_from(shop: str, key: str, attempt: int) -> str:
    """Give the bike tag for a key; another one for each attempt, where one was taken."""
    number = int.from_bytes(digest(shop, "tag", key, str(attempt))[:5], "big")
    return "".join(TAG_ALPHABET[number >> shift & 31] for shift in range(35, -1, -5))


class Repeats:
    """Counts identical rows, so that each of them is a fact of its own.

    Every row is noted first and numbered afterwards, so that of a row that stands once nothing
    but 8 bytes need be kept.
    """

    def __init__(self) -> None:
        self._noted = array("Q")
        self._seen: dict[int, int] | None = None

    def note(self, row: bytes) -> None:
        """Take in the digest of one row."""
        self._noted.append(_short(row))

    def number(self, row: bytes) -> int:
        """Give how often a row of this digest was numbered before; all have been noted."""
        if self._seen is None:
            ordered = np.sort(np.frombuffer(self._noted, dtype=np.uint64))
            more_than_once = np.unique(ordered[1:][ordered[1:] == ordered[:-1]])
            self._seen = dict.fromkeys((int(short) for short in more_than_once), -1)
            self._noted = array("Q")
        short = _short(row)
        if short not in self._seen:
            return 0
        self._seen[short] += 1
        return self._seen[short]


def _short(row: bytes) -> int:
    return int.from_bytes(row[:8], "big")


def within_row(row: bytes, repeat: int, name: str) -> bytes:
    """Give the digest of one thing a row gives rise to: an event, a part, a job."""
    return digest(row.hex(), str(repeat), name)
