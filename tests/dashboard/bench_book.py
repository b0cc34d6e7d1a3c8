"""A book for the bench page: a tourer with a history, one nobody knows, and two mechanics."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

from small_book import amount, empty_book

from ledger.book import Book
from ledger.riders import Rider

TAG = "7K3M9QXA"
"""A tourer with a chain, a cassette, discs, tyres and a standing note; nothing is open on it."""
UNKNOWN = "9TTN4VWB"
"""A bike without make, rider, distance or history: what it looks like is all there is."""
OPEN_TAG = "B3HM8KXC"
"""One that is on the bench already."""
OPEN_JOB = "job-open"
TERMS = {
    "from_on": "2023-01-01",
    "tax_rate": "0.21",
    "tiers": [
        {"code": "full_service", "label": "full service", "price_minor": 7900, "minutes": 90},
        {"code": "quick_check", "label": "quick check", "price_minor": 2500, "minutes": 20},
    ],
}
FITTED = (
    ("chain", "Halm", "K10"), ("cassette", "Halm", "S10"), ("chainring", "Halm", "R42"),
    ("crank", "Halm", "A2"), ("bottom_bracket", "Osk", "B1"), ("front_brake.pads", "Osk", "P2"),
    ("rear_brake.pads", "Osk", "P2"), ("front_brake.rotor", "Osk", "R160"),
    ("rear_brake.rotor", "Osk", "R160"), ("front_wheel.tyre", "Varde", "Reed 37"),
    ("rear_wheel.tyre", "Varde", "Reed 37"),
)  # fmt: skip


def draft(
    kind: str, at: datetime, bike: str | None, job: str | None = None, **data: object
) -> dict:
    """Give one draft of ada's; absent fields are left out."""
    plain = {"kind": kind, "bike": bike, "job": job, "actor": "ada", "occurred_at": at.isoformat()}
    return {name: value for name, value in plain.items() if value} | {"data": data}


def bench_book(path: Path) -> Book:
    """Make the book; its newest entry is a minute old, so that no clock is in doubt."""
    book = empty_book(path)
    begun = datetime.now(UTC).replace(microsecond=0) - timedelta(days=400)
    terms = draft("terms_set", begun, None, **TERMS)
    book.append([*_people(begun), terms], confirm_clock=True)
    _bikes(book, begun)
    return book


def put_in(book: Book) -> None:
    """Put the same people, gauges and bikes into a book that stands already, with its terms."""
    begun = datetime.now(UTC).replace(microsecond=0) - timedelta(days=400)
    book.append(_people(begun), confirm_clock=True)
    _bikes(book, begun)


def _bikes(book: Book, begun: datetime) -> None:
    book.riders.add([Rider("r-1", name="Tilde Moen"), Rider("r-2", name="Joss Arkle")])
    book.append(_tourer(begun + timedelta(hours=1)), confirm_clock=True)
    book.append(_others(begun + timedelta(days=2)), confirm_clock=True)


def _people(begun: datetime) -> list[dict]:
    chain = {"gauge": "G-dial", "label": "chain gauge with a dial", "quantities": ["elongation"]}
    torque = {"gauge": "T-60", "label": "torque wrench to 60", "quantities": ["torque"]}
    return [
        draft("mechanic_registered", begun, None, mechanic="ada", role="owner", name="Ada Quill"),
        draft("mechanic_registered", begun, None, mechanic="ben", role="mechanic", name="Ben Roe"),
        draft("gauge_registered", begun, None, **chain),
        draft("gauge_registered", begun, None, **torque),
    ]


def _tourer(at: datetime) -> list[dict]:
    named = {"make": "Varde", "model": "Tourer 28", "bike_kind": "tourer", "speeds": 10,
             "description": "green, wicker basket"}  # fmt: skip
    job = "job-1"
    fitted = [
        draft("part_fitted", at, TAG, position=where, make=make, model=model, is_found=True)
        for where, make, model in FITTED
    ]
    measured = {
        ("chain", "elongation"): "0.30 %",
        ("front_brake.pads", "thickness"): "2.8 mm",
        ("rear_brake.pads", "thickness"): "2.4 mm",
    }
    set_to = {
        ("front_wheel.tyre", "pressure"): "4.0 bar",
        ("rear_wheel.tyre", "pressure"): "4.5 bar",
        ("crank", "torque"): "40 N·m",
    }
    return [
        draft("bike_registered", at, TAG, **named),
        draft("rider_changed", at, TAG, rider="r-1", riding="commute"),
        *fitted,
        draft("noted", at, TAG, position="chain", text="Waxed: no oil on this chain"),
        draft("job_opened", at, TAG, job, tier="full_service"),
        draft("distance_read", at, TAG, job, odometer=amount("1200 km")),
        *_figures("measured", at, job, "value", measured),
        *_figures("adjusted", at, job, "after", set_to),
        draft("released", at, TAG, job, is_test_ridden=True),
        draft("job_closed", at, TAG, job),
    ]


def _figures(
    kind: str, at: datetime, job: str, of: str, figures: dict[tuple[str, str], str]
) -> list[dict]:
    return [
        draft(kind, at, TAG, job, position=where, quantity=quantity, **{of: amount(figure)})
        for (where, quantity), figure in figures.items()
    ]


def _others(at: datetime) -> list[dict]:
    return [
        draft("bike_registered", at, UNKNOWN, description="blue, child seat, bell gone"),
        draft("bike_registered", at, OPEN_TAG, make="Osk", model="Runabout", bike_kind="city"),
        draft("rider_changed", at, OPEN_TAG, rider="r-2"),
        draft("job_opened", datetime.now(UTC) - timedelta(minutes=1), OPEN_TAG, OPEN_JOB,
              tier="quick_check", complaint="Rear brake squeals"),
    ]  # fmt: skip
