"""A small real book for the pages: one bike with a life, one with one event, one forgotten."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ledger.book import Book
from ledger.riders import Rider

TAG = "7K3M9QXA"
"""A tourer with four visits: chain, pads, a struck entry, an open fault."""
NEW_TAG = "7K3M9QXB"
"""One event, and a tag that reads nearly like the first."""
FORGOTTEN_TAG = "Z8T4W2HN"
"""Its rider was forgotten: the key of what was written about it is gone."""
SHOP_NAME = "Saltquay Cycles"
FOUND_PADS = {"position": "rear_brake.pads", "make": "Halm", "model": "P2", "is_found": True}
OLD_CHAIN = {"position": "chain", "part": "chain-1", "model": "C10", "is_found": True}
NEW_CHAIN = {
    "position": "chain",
    "part": "chain-2",
    "make": "Halm",
    "model": "K10",
    "replaces": "chain-1",
}


def amount(text: str) -> dict[str, str]:
    """Give `0.62 %` as a figure with its unit."""
    value, unit = text.split(" ")
    return {"value": value, "unit": unit}


def event(kind: str, at: str, bike: str | None = TAG, job: str | None = None, **data: Any) -> dict:
    """Give one draft; absent fields are left out."""
    draft = {"kind": kind, "bike": bike, "job": job, "actor": "ada", "occurred_at": at}
    return {name: value for name, value in draft.items() if value} | {"data": data}


def visit(number: int, day: str, distance: str, wear: str, pads: str) -> Iterator[dict]:
    """Give one visit: booked in, read, two things measured, handed back."""
    job = f"job-{number}"
    measured = {"position": "chain", "quantity": "elongation", "value": amount(wear)}
    pad = {"position": "rear_brake.pads", "quantity": "thickness", "value": amount(pads)}
    yield event("job_opened", f"{day}T09:00:00+01:00", job=job, complaint=f"Visit {number}")
    yield event("distance_read", f"{day}T09:02:00+01:00", job=job, odometer=amount(distance))
    yield event("measured", f"{day}T09:10:00+01:00", job=job, **measured)
    yield event("measured", f"{day}T09:12:00+01:00", job=job, **pad)
    yield event("released", f"{day}T11:00:00+01:00", job=job, is_test_ridden=True)
    yield event("job_closed", f"{day}T11:05:00+01:00", job=job)


def shop_events() -> list[dict]:
    """Give who works here."""
    at = "2023-01-02T08:00:00+01:00"
    return [event("mechanic_registered", at, None, mechanic="ada", role="owner", name="Ada Quill")]


def tourer_events() -> list[dict]:
    """Give the life of the tourer, up to an open fault and something not checked."""
    start = "2023-03-04T09:0{}:00+01:00"
    later = "2025-04-02T10:{}:00+02:00"
    named = {"make": "Varde", "model": "Tourer 28", "bike_kind": "tourer", "speeds": 10}
    return [
        event("bike_registered", start.format(0), **named),
        event("rider_changed", start.format(1), rider="r-1", riding="commute"),
        event("part_fitted", start.format(2), **OLD_CHAIN),
        event("part_fitted", start.format(3), **FOUND_PADS),
        *visit(1, "2023-09-12", "1200 km", "0.30 %", "2.8 mm"),
        *visit(2, "2024-03-05", "3100 km", "0.80 %", "2.1 mm"),
        event("part_fitted", "2024-03-05T10:30:00+01:00", **NEW_CHAIN),
        *visit(3, "2025-04-02", "5400 km", "0.40 %", "0.8 mm"),
        event(
            "inspected", later.format(20), position="rear_brake", verdict="watch", fault="squeal"
        ),
        event(
            "inspected",
            later.format(21),
            position="steering",
            verdict="not checked",
            why_not_checked="Rider <b>waiting</b>",
        ),
        event(
            "adjusted",
            later.format(30),
            position="rear_wheel.tyre",
            quantity="pressure",
            after=amount("72 psi"),
        ),
        event("noted", later.format(40), position="frame", text="Greased post only"),
    ]


def other_events() -> list[dict]:
    """Give a bike with one event, and a bike of a rider who will be forgotten."""
    entered = {"make": "Osk", "model": "Runabout"}
    opened = {"complaint": "Words nobody can read any more"}
    return [
        event("bike_registered", "2025-05-05T09:00:00+02:00", NEW_TAG, make="Varde", model="Solo"),
        event("bike_registered", "2024-06-03T09:00:00+02:00", FORGOTTEN_TAG, **entered),
        event("rider_changed", "2024-06-03T09:01:00+02:00", FORGOTTEN_TAG, rider="r-2"),
        event("job_opened", "2024-06-03T09:02:00+02:00", FORGOTTEN_TAG, "job-f", **opened),
    ]


def empty_book(path: Path) -> Book:
    """Make a book in which nothing is recorded."""
    return Book.init(
        path, shop="saltquay", name=SHOP_NAME, time_zone="Europe/Copenhagen", locale="en_GB"
    )


def small_book(path: Path) -> Book:
    """Make the book; one of its entries is struck and one rider is forgotten."""
    book = empty_book(path)
    book.riders.add([Rider("r-1", name="Tilde Moen")])
    book.append(shop_events())
    book.append([*tourer_events(), *other_events()])
    wrong = event("treated", "2025-04-02T10:45:00+02:00", position="chain", treatment="waxed")
    receipt = book.append([wrong])
    book.strike(receipt.events[0].id, "Typed on the wrong bike", "ada")
    forget_key(path, "r-2")
    return book


def forget_key(path: Path, rider: str) -> None:
    """Destroy the key of one rider's text, as forgetting does."""
    with sqlite3.connect(path / "riders.sqlite") as connection:
        gone = connection.execute("delete from keys where rider = ?", (rider,)).rowcount
    connection.close()
    assert gone == 1
