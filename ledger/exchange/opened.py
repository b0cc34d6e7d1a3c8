"""An event's payload with its free text opened, fit to be entered again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ledger.events import Event, payload_class, plain
from ledger.events.text import change_text

if TYPE_CHECKING:
    from ledger.book import Book

FORGOTTEN = "(forgotten)"
"""Stands where the key of a text was destroyed."""


def opened_data(book: Book, event: Event) -> dict[str, Any]:
    """Give the payload as plain JSON types, its text in the clear."""

    def opened(field: str, text: Any) -> str:
        if isinstance(text, str):
            return text
        return book.keys.open(text, event.id, field) or FORGOTTEN

    return change_text(payload_class(event.kind), plain(event)["data"], opened)
