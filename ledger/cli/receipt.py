"""Recording, and what is said about it: the receipt, its warnings, the verdict at once."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from ledger.cli.booking import say_bookings
from ledger.cli.output import say, say_json, warn
from ledger.cli.words import CAUTION, event_needs_caution
from ledger.errors import ClockJumped, LedgerError
from ledger.events.types import format_moment

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.events import Event
    from ledger.figures.fault_shapes import BookingIn
    from ledger.receipts import Receipt

LISTED = 8
"""Events named one by one in a receipt; more are only counted."""


def confirming(act: Callable[[bool], Receipt], *, confirm_clock: bool) -> Receipt:
    """Do what records; on a terminal, a clock that jumped is asked about.

    `act` is told whether the clock was confirmed. Raises what it raises, and ClockJumped where
    nobody confirms the clock.
    """
    try:
        return act(confirm_clock)
    except ClockJumped as jumped:
        if not (sys.stdin.isatty() and sys.stderr.isatty()):
            raise
        warn(str(jumped))
        if input("Is the clock right? (yes or no) ").strip().lower() not in ("y", "yes"):
            raise LedgerError("The clock was not confirmed.") from None
        return act(True)


def say_receipt(
    book: Book, receipt: Receipt, *, as_json: bool, bookings: Sequence[BookingIn] = ()
) -> None:
    """Print what was recorded, what was there already, warnings, and verdicts.

    `bookings` are of the bikes whose jobs were opened.
    """
    for problem in receipt.warnings:
        warn(f"Warning: {problem}")
    say_bookings(bookings)
    if as_json:
        say_json(receipt_json(receipt, bookings))
        return
    new = [event for event in receipt.events if event.is_new]
    if new:
        say(f"Recorded {count_words(len(new))} in commit {receipt.commit}.")
    if new and len(new) <= LISTED:
        stored = book.find([event.id for event in new])
        for event in new:
            say(f"  {event.seq}  {event.id}  {event_words(book, stored[event.id])}")
        if any(event_needs_caution(book.vocabulary, event) for event in stored.values()):
            say(CAUTION)
    for event in receipt.events:
        if not event.is_new:
            say(f"Already recorded: {event.id}, event {event.seq} in commit {event.commit}.")


def receipt_json(receipt: Receipt, bookings: Sequence[BookingIn] = ()) -> dict[str, Any]:
    """Give a receipt as plain JSON types, with what to know of the bikes booked in."""
    told: dict[str, Any] = {}
    if bookings:
        from ledger.cli.faults_forms import booking_json

        told = {"booking_in": [booking_json(one) for one in bookings]}
    return {
        "commit": receipt.commit,
        "root": receipt.root,
        "size": receipt.size,
        "recorded_at": receipt.recorded_at and format_moment(receipt.recorded_at),
        "events": [
            {"id": item.id, "seq": item.seq, "commit": item.commit, "is_new": item.is_new}
            for item in receipt.events
        ],
        "warnings": [str(problem) for problem in receipt.warnings],
        **told,
    }


def count_words(count: int, noun: str = "event") -> str:
    """Give a count with its noun: 1 event, 2 events."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"


def event_words(book: Book, event: Event) -> str:
    """Give one stored event in a few words; a reading comes with its verdict and limit."""
    from ledger.cli.event_words import Describer

    return Describer(book.vocabulary, book.settings).describe(
        event.kind, book.reveal(event)["data"]
    )
