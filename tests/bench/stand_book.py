"""A small book with a bike on the stand, for tests of the bench; and scenes of random lives."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, cast
from zoneinfo import ZoneInfo

from ledger.asking import OWNER, Asker
from ledger.bench import drafts
from ledger.bench.drafts import Hand, new_id
from ledger.bench.reading import bench_of
from ledger.bench.scene import Scene
from ledger.bench.shapes import Bench
from ledger.book import Book
from ledger.events import Event
from ledger.riders import Rider
from ledger.rules import BookFacts
from tests.strategies import GAUGES, SHOP, WORDS

TAG, OTHER = "7K3M9QXA", "2B4D6F8H"
BEGAN_AT = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


class Clock:
    """A clock that goes one second further whenever it is looked at, and further when told."""

    def __init__(self) -> None:
        self.now = BEGAN_AT

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now

    def forward(self, **by: float) -> None:
        self.now += timedelta(**by)


TERMS = {
    "from_on": "2026-01-01",
    "currency": "EUR",
    "tiers": [{"code": "full_service", "label": "full service", "price_minor": 12000}],
}


def new_book(path: Path, clock: Clock | None = None) -> Book:
    """Make a book with two mechanics, gauges, a rider and their bike."""
    book = Book.init(
        path, shop=SHOP, currency="EUR", time_zone="Europe/Lisbon", clock=clock or Clock()
    )
    book.riders.add([Rider("r-1", name="Inge Marsh")])
    own = [
        ("mechanic_registered", {"mechanic": "mia", "role": "owner"}),
        ("mechanic_registered", {"mechanic": "tom", "role": "mechanic"}),
        (
            "gauge_registered",
            {
                "gauge": "caliper",
                "label": "caliper",
                "quantities": ["elongation", "thickness", "tooth_wear", "tread_depth", "runout"],
            },
        ),
        ("gauge_registered", {"gauge": "wrench", "label": "wrench", "quantities": ["torque"]}),
        ("gauge_registered", {"gauge": "pump", "label": "pump", "quantities": ["pressure"]}),
        ("terms_set", TERMS),
    ]
    book.append([{"kind": kind, "actor": "mia", "data": data} for kind, data in own])
    hand = Hand("mia", TAG)
    described = {"description": "green, a bell like a duck", "speeds": 11, "bike_kind": "city"}
    book.append(
        [
            drafts.registered("mia", TAG, new_id(), make="Ordwick", model="Tern", **described),
            drafts.rider_set(hand, new_id(), "r-1"),
        ]
    )
    return book


def open_job(book: Book, job: str = "J1", actor: str = "mia") -> Hand:
    """Book the bike in, and give the hand that works on it."""
    book.append([drafts.job_opened(actor, TAG, job, new_id(), tier="full_service")])
    return Hand(actor, TAG, job)


def bench(book: Book, actor: str = "mia", asker: Asker = OWNER, **more: Any) -> Bench:
    """Give the bike's bench as the book's own clock has it."""
    return bench_of(book, TAG, actor, book._now(), asker=asker, **more)


FACTS = BookFacts(
    vocabulary=WORDS,
    now=datetime(2030, 1, 1, tzinfo=UTC),
    time_zone=ZoneInfo("Europe/Amsterdam"),
    currency="EUR",
    mechanics=frozenset({"mia", "tom"}),
    gauges=GAUGES,
)


def scene(stored: Sequence[Event], bike: str) -> Scene:
    """Give a scene of stored events; one that asks nothing of a book."""
    return Scene(bike, frozenset({bike}), tuple(stored), FACTS, SHOP, cast("Book", None))
