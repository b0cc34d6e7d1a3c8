"""A small book of one bike, whose receipts are looked at."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from ledger.book import Book

TAG = "7K3M9QXA"
START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


class Ticking:
    """A clock that goes on by a minute each time it is read."""

    def __init__(self, hours: int = 0) -> None:
        self.now = START + timedelta(hours=hours)

    def __call__(self) -> datetime:
        self.now += timedelta(minutes=1)
        return self.now


def treated(**more):
    data = {"position": "chain", "treatment": "cleaned"}
    return {"kind": "treated", "bike": TAG, "actor": "m1", "data": data, **more}


def new_book(folder: Path) -> Book:
    """Give a book of 13 events in 5 commits."""
    book = Book.init(folder, shop="quay", time_zone="Europe/Lisbon", clock=Ticking())
    book.append([{"kind": "mechanic_registered", "actor": "m1", "data": {"mechanic": "m1"}}])
    book.append([{"kind": "bike_registered", "bike": TAG, "actor": "m1", "data": {"speeds": 11}}])
    note = {"position": "chain", "text": "waxed, wipe only"}
    book.append([{"kind": "noted", "bike": TAG, "actor": "m1", "data": note}])
    book.append([treated() for _ in range(6)])
    book.append([treated() for _ in range(4)])
    return book
