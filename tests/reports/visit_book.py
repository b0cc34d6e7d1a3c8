"""A small real book with one visit to report of, and what the tests of the page say in short."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from ledger.book import Book
from ledger.riders import Rider

TAG, OTHER = "7K3M9QXA", "2B4D6F8H"
NOW = datetime(2026, 4, 2, 9, 0, tzinfo=UTC)
COST_MINOR, MINUTES, OTHER_NAME = 98765, 4321, "Perrin Saltback"


def amount(text: str) -> dict[str, str]:
    """Give `0.62 %` as a figure with its unit."""
    value, unit = text.split(" ", 1)
    return {"value": value, "unit": unit}


def draft(kind: str, at: str, data: dict[str, Any], job: str | None = "J-1") -> dict[str, Any]:
    """Give one draft of the bike; `at` is a day with a time, UTC."""
    of_job = {"job": job} if job else {}
    when = f"{at}:00Z".replace(" ", "T")
    return {"kind": kind, "bike": TAG, "actor": "ada", "occurred_at": when, "data": data, **of_job}


def new_book(folder: Path, *, locale: str = "en_GB", rider: str | None = "r1") -> Book:
    """Give a book with a mechanic, two riders in the register, and the bike under r1."""
    book = Book.init(
        folder, shop="quay", name="Quayside Bench", locale=locale, time_zone="Europe/Amsterdam",
        clock=lambda: NOW,
    )  # fmt: skip
    book.riders.add([Rider("r1", name="Mirren Saltgrove"), Rider("r2", name=OTHER_NAME)])
    at = "2026-01-05T08:00:00Z"
    book.append(
        [{"kind": "mechanic_registered", "actor": "ada", "occurred_at": at,
          "data": {"mechanic": "ada"}}]
    )  # fmt: skip
    registered = {"make": "Ordwick", "model": "Long Ebb", "speeds": 11}
    book.append([draft("bike_registered", "2026-01-05 09:00", registered, None)])
    if rider:
        book.append([draft("rider_changed", "2026-01-05 09:05", {"rider": rider}, None)])
    return book


def visited(book: Book, *drafts: dict[str, Any], is_closed: bool = True, **opened: Any) -> Book:
    """Record a visit, J-1 on 2 March, with these drafts in it."""
    begun = draft("job_opened", "2026-03-02 09:00", opened)
    ended = [draft("job_closed", "2026-03-02 17:00", {})] if is_closed else []
    book.append([begun, *drafts, *ended])
    return book


def at_bench(kind: str, **data: Any) -> dict[str, Any]:
    """Give one draft in the middle of the visit."""
    return draft(kind, "2026-03-02 11:00", data)


def quote_line(name: str, code: str, net_minor: int, **more: Any) -> dict[str, Any]:
    """Give one line of a quote, with tax at 21 % and a cost nobody outside may see."""
    return {
        "line": name, "line_type": "labour", "code": code, "net_minor": net_minor,
        "tax_rate": "0.21", "minutes": MINUTES, "cost_minor": COST_MINOR, **more,
    }  # fmt: skip
