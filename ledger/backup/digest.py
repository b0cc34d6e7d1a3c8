"""A book replayed, as one figure: a SHA-256 over the states of all bikes, by their tags."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, datetime

from ledger.backup.statement import Replayed
from ledger.book import Book
from ledger.queries import bike_views
from ledger.view import view_json

FORM = 1
"""Goes up whenever the states of one and the same book come to another figure than before."""
_BIKES_A_WORD = 100
_END_OF_TIME = datetime(2201, 1, 1, tzinfo=UTC)


def replayed(book: Book, size: int, tell: Callable[[int], object] = lambda done: None) -> Replayed:
    """Replay every bike of a book over its first `size` events; `tell` is told how many are done.

    Each state is taken with everything that ever occurred, at one fixed time, as the JSON that
    `state --json` prints. Raises FileNotFoundError where a merger took a file away meanwhile.
    """
    files = book.files()
    try:
        return _replayed(book, size, tell)
    except Exception:
        # The engine has an error of its own for a file that is gone.
        for path in files:
            path.stat()
        raise


def _replayed(book: Book, size: int, tell: Callable[[int], object]) -> Replayed:
    digest, count = hashlib.sha256(), 0
    for view in bike_views(book, _END_OF_TIME, size) if size else ():
        plain = json.dumps(view_json(view), sort_keys=True, separators=(",", ":"))
        digest.update(plain.encode() + b"\n")
        count += 1
        if count % _BIKES_A_WORD == 0:
            tell(count)
    return Replayed(FORM, count, digest.hexdigest())
