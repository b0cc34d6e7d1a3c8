"""A small book with riders, sealed notes and a photo, for tests of how it is kept elsewhere."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

from PIL import Image

from ledger.backup.make import Backed, backup
from ledger.backup.restore import Restored, restore
from ledger.book import Book
from ledger.photos import add_photo
from ledger.proofs.verify import check_files, check_rules
from ledger.queries import bike_views
from ledger.riders import Rider
from ledger.storage.objects import Objects, objects_at

BIKES = ("7K3M9QXA", "4T2N8RWE", "9XQH2VKB")
NAMES = {"r-1": "Ylva Sund", "r-2": "Odo Kramp"}
NOW = datetime(2026, 11, 29, 12, tzinfo=UTC)
NONE = timedelta(0)
DAY = timedelta(days=1)
SECRET_WORDS = "rattles over the swing bridge"


def new_book(path: Path, shop: str = "quay") -> Book:
    """Make a book with a mechanic, three bikes, two riders and a note under each of their keys."""
    book = Book.init(path, shop=shop)
    book.append([{"kind": "mechanic_registered", "actor": "m1", "data": {"mechanic": "m1"}}])
    book.riders.add([Rider(rider, name=name) for rider, name in NAMES.items()])
    for bike in BIKES:
        book.append([{"kind": "bike_registered", "bike": bike, "actor": "m1", "data": {}}])
    for bike, rider in zip(BIKES, NAMES, strict=False):
        told = {"kind": "rider_changed", "bike": bike, "actor": "m1"}
        book.append([{**told, "data": {"rider": rider, "note": f"{NAMES[rider]} {SECRET_WORDS}"}}])
    return book


_kilometres = count(10)


def ride(book: Book, times: int = 1) -> None:
    """Record so many commits of one or two events each."""
    for _ in range(times):
        km = next(_kilometres)
        bikes = BIKES[: 1 + km % 2]
        book.append([_odometer(bike, km) for bike in bikes])


def _odometer(bike: str, km: int) -> dict[str, Any]:
    data = {"odometer": {"value": str(km), "unit": "km"}}
    return {"kind": "distance_read", "bike": bike, "actor": "m1", "data": data}


def photograph(book: Book, colour: str = "red") -> str:
    """Attach a photo to the first bike; give the file's name."""
    before = set(book.home.photos())
    made = io.BytesIO()
    Image.new("RGB", (40, 30), colour).save(made, "PNG")
    add_photo(book, BIKES[0], None, "m1", made.getvalue())
    (name,) = set(book.home.photos()) - before
    return name


def back_up(book: Book, address: str | Path, **more: Any) -> Backed:
    """Back up to a folder or an address, at whatever time a test says that it is."""
    return backup(book, objects_at(address), **{"now": NOW, "confirm_clock": True, **more})


def bring_back(address: str | Path, target: Path, **more: Any) -> Restored:
    """Restore from a folder or an address."""
    return restore(objects_at(address), target, **{"now": NOW, **more})


def told(book: Book) -> list[Any]:
    """Give all there is to know of a book: bytes of events, root, and the state of every bike."""
    at = datetime(2200, 1, 1, tzinfo=UTC)
    return [list(book.rows()), book.head.root, list(bike_views(book, at, book.head.size))]


def problems(path: Path) -> list[Any]:
    """Give everything `verify` finds wrong with a book."""
    return [*check_files(path).problems, *check_rules(path)]


def notes(book: Book) -> list[str | None]:
    """Give the notes that were written about riders, opened; None where one cannot be."""
    changed = [event for event in book.events() if event.kind == "rider_changed"]
    return [book.reveal(event)["data"]["note"] for event in changed]


def names(place: Objects) -> list[str]:
    """Give the names of all files at a place."""
    return [one.name for one in place.all()]
