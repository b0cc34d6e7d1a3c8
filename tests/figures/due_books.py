"""Small books whose parts are due or not by hand: what was read of which bike, and whose it is."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from ledger.book import Book
from ledger.figures.calls import DueBike, DueList, DuePart
from ledger.riders import Rider

GULL, TERN, CROW = "7K3M9QXA", "2B4D6F8H", "4T2N8RWE"
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
Entry = tuple[str, str, str | None, dict[str, Any]]
"""Day, kind, bike, payload."""


def book_of(folder: Path, *entries: Entry, **settings: Any) -> Book:
    """Give a book in which these things happened at midday of their days, recorded at NOW."""
    book = Book.init(folder / "book", shop="quay", name="Quay Bench", clock=lambda: NOW, **settings)
    drafts = []
    for day, kind, bike, data in entries:
        draft = {"kind": kind, "actor": "mia", "occurred_at": f"{day}T12:00:00Z", "data": data}
        job = data.get("_job")
        draft["data"] = {name: value for name, value in data.items() if name != "_job"}
        drafts.append(
            {**draft, **({"bike": bike} if bike else {}), **({"job": job} if job else {})}
        )
    book.append(drafts, confirm_clock=True)
    return book


def registered(bike: str, **more: Any) -> Entry:
    return "2025-01-01", "bike_registered", bike, {"speeds": 9, **more}


def whose(bike: str, rider: str | None, keeper: str | None = None) -> Entry:
    named = {"rider": rider, "keeper": keeper}
    return "2025-01-01", "rider_changed", bike, {k: v for k, v in named.items() if v}


def km(day: str, bike: str, figure: int) -> Entry:
    return day, "distance_read", bike, {"odometer": {"value": str(figure), "unit": "km"}}


def fitted(day: str, bike: str, position: str, part: str, **more: Any) -> Entry:
    return day, "part_fitted", bike, {"position": position, "part": part, **more}


def chain(day: str, bike: str, figure: str, **more: Any) -> Entry:
    value = {"value": figure, "unit": "%"}
    return day, "measured", bike, {
        "position": "chain", "quantity": "elongation", "value": value, **more}  # fmt: skip


def pads(day: str, bike: str, figure: str) -> Entry:
    value = {"value": figure, "unit": "mm"}
    return day, "measured", bike, {
        "position": "rear_brake.pads", "quantity": "thickness", "value": value}  # fmt: skip


def ridden(bike: str, read: str = "0.6", **more: Any) -> list[Entry]:
    """Give a bike of 3,000 km a year whose chain was read after a year; limit 0.75 %.

    Read at 0.6 % it wears 0.2 % per 1,000 km, and has gone about 4,240 km by NOW: 0.85 %.
    """
    return [
        registered(bike, **more),
        km("2025-01-01", bike, 0),
        fitted("2025-01-01", bike, "chain", f"{bike}-chain"),
        km("2026-01-01", bike, 3000),
        chain("2026-01-01", bike, read),
    ]


def consenting(book: Book, rider: str, name: str, *, may_contact: bool = True) -> None:
    """Enter somebody in the register, with a phone and an address."""
    person = Rider(rider, name, f"555-{rider}", f"{rider}@quay.invalid", may_contact=may_contact)
    book.riders.add([person])


def bikes_of(found: DueList) -> list[DueBike]:
    """Give every bike in a list, on the bench or not."""
    return [bike for call in found.calls for bike in call.bikes] + list(found.bench)


def parts_of(found: DueList) -> list[DuePart]:
    """Give everything that is due."""
    return [part for bike in bikes_of(found) for part in bike.parts]
