"""What is measured at a service, and the verdict on a figure before it is written."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from ledger.bench.shapes import Bench, Judged

if TYPE_CHECKING:
    from ledger.book import Book


def judged(book: Book, bench: Bench, draft: Mapping[str, Any]) -> Judged:
    """Give the verdict the book would store of a typed reading, without writing anything.

    `draft` is a draft of `drafts.measured`; of `drafts.adjusted` too, for its problems and
    warnings. What cannot be read is told in `problems`.
    """
    raise NotImplementedError
