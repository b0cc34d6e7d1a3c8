"""Which event a person means: by id, by seq, or a bike's newest."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ledger.cli.bikes import tag_form
from ledger.cli.drafts import event_id
from ledger.errors import WrongUse
from ledger.state import live

if TYPE_CHECKING:
    from ledger.book import Book


def target_of(book: Book, text: str, bike: str | None) -> str:
    """Give the id of the event that `last`, a seq or an id means; raises WrongUse."""
    word = text.strip().lower()
    if word == "last":
        return _newest(book, bike)
    if bike is not None:
        raise WrongUse("--bike goes with `last` alone.")
    if not word.isdecimal():
        return event_id(text)
    found = book.at_seq(int(word)) if len(word) < 19 else None
    if found is None:
        raise WrongUse(f"The book has no event {word}; its newest is {book.head.size}.")
    return found.id


def _newest(book: Book, bike: str | None) -> str:
    if bike is None:
        raise WrongUse("`last` needs --bike: whose newest event is meant?")
    tag = tag_form(bike)
    counted = live(book.bike_events(tag))
    if not counted:
        book.require_bike(tag)
        raise WrongUse(f"Bike {tag} has no event left that could be struck.")
    return max(counted, key=lambda event: event.seq or 0).id
