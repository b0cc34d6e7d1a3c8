"""Small books in which parts wear: one reading, ten bikes, a slip of the pen."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from small_book import amount, empty_book, event, shop_events

from ledger.book import Book
from ledger.riders import Rider

TAGS = [f"7K3M9Q0{sign}" for sign in "0123456789"]
"""Ten bikes; the first one's chain has a reading that cannot be right."""
ON_THE_BENCH = TAGS[5]
"""A commuter's bike with a job open."""
AS_AT = "2025-06-30"
"""The day the books are looked at, so that what is foretold stays as it is."""
CHAIN_FROM_NEW = {"position": "chain", "make": "Halm", "model": "Halm K10"}


def visit(tag: str, day: str, km: float, wear: str) -> Iterator[dict]:
    """Give one visit: the distance, then the chain."""
    measured = {"position": "chain", "quantity": "elongation", "value": amount(wear)}
    yield event("distance_read", f"{day}T09:01:00+02:00", tag, odometer=amount(f"{km:.0f} km"))
    yield event("measured", f"{day}T09:02:00+02:00", tag, **measured)


def bike(tag: str, rider: str, riding: str) -> Iterator[dict]:
    """Give a bike registered with its rider and a new chain."""
    start = "2024-05-02T09:0{}:00+02:00"
    yield event("bike_registered", start.format(0), tag, make="Varde", model="Tourer 28", speeds=10)
    yield event("rider_changed", start.format(1), tag, rider=rider, riding=riding)
    yield event("distance_read", start.format(2), tag, odometer=amount("0 km"))
    yield event("part_fitted", start.format(3), tag, part=f"{tag}-c", **CHAIN_FROM_NEW)


def one_reading_book(path: Path) -> Book:
    """Make a book with one bike whose chain was read once."""
    book = empty_book(path)
    book.riders.add([Rider("r-0", name="Tilde Moen")])
    first = TAGS[0]
    book.append(shop_events())
    book.append([*bike(first, "r-0", "commute"), *visit(first, "2024-09-02", 1100, "0.22 %")])
    return book


def ten_bikes_book(path: Path) -> Book:
    """Make a book of ten bikes read four times each; commuters' chains wear twice as fast.

    One commuter agreed to be contacted."""
    book = empty_book(path)
    nobody_asked = [number for number in range(len(TAGS)) if number != 1]
    asked = Rider("r-1", name="Tilde Moen", email="tilde@moen.invalid", may_contact=True)
    book.riders.add([asked, *(Rider(f"r-{number}") for number in nobody_asked)])
    book.append(shop_events())
    days = ("2024-08-05", "2024-10-07", "2025-01-13", "2025-04-14")
    for number, tag in enumerate(TAGS):
        riding, rate = ("commute", 0.24) if number % 2 else ("touring", 0.12)
        drafts = list(bike(tag, f"r-{number}", riding))
        for turn, day in enumerate(days, start=1):
            km = turn * (700 + 20 * number)
            percent = rate * km / 1000 + 0.01 * ((number + turn) % 3 - 1)
            is_slip = number == 0 and turn == 3
            drafts += visit(tag, day, km, f"{2.6 if is_slip else percent:.2f} %")
        book.append(drafts)
    book.append([event("job_opened", "2025-06-27T09:00:00+02:00", ON_THE_BENCH, job="job-1")])
    return book
