"""What is told when a job is opened: what came back on the bike before, and what is open on it.

It is told once the job is recorded, and whatever goes wrong with it stops nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from ledger.cli.output import warn

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.events import Event
    from ledger.figures.fault_shapes import BookingIn
    from ledger.receipts import Receipt

MOST = 8
"""Jobs opened at once whose bikes are told about one by one: more are an import of old ones."""


def told_at_opening(
    book: Book, drafts: Sequence[Mapping[str, Any]], receipt: Receipt
) -> list[BookingIn]:
    """Give what to know of each bike whose job was just opened, by the order they came in."""
    count = sum(draft.get("kind") == "job_opened" for draft in drafts)
    new = [event.id for event in receipt.events if event.is_new]
    if not count or not new:
        return []
    if count > MOST:
        warn(f"{count:,} jobs were opened: what came back before, of each: lockring faults TAG.")
        return []
    stored = book.find(new)
    opened = [stored[one] for one in new if one in stored and stored[one].kind == "job_opened"]
    return [found for event in opened if (found := booking_of(book, event)) is not None]


def booking_of(book: Book, opened: Event) -> BookingIn | None:
    """Give what to know of a bike as its job was opened; None, with a word, where that fails."""
    assert opened.bike is not None
    try:
        from ledger.figures.fault_bike import booking_in

        return booking_in(book, opened.bike, opened.occurred_at)
    except Exception as error:
        # The job is recorded: no figure over older events may make that look like a failure.
        from ledger.cli.guard import explain

        warn(f"What came back on bike {opened.bike} before is not told: {explain(error)}")
        return None


def say_bookings(found: Iterable[BookingIn], indent: str = "") -> None:
    """Print what to know of each bike on stderr, a line each; nothing where there is nothing."""
    for one in found:
        if one.lines:
            warn(f"{indent}Bike {one.bike}, as it is booked in:")
        for line in one.lines:
            warn(f"{indent}  {line}")
