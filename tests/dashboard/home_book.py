"""A small book of a shop as it stands today: bikes on the bench, calls to make, work of the month.

Ten full services were closed two to eleven days ago. On the bench are a tourer promised for
yesterday, with a quote nobody answered, pressing advice, pads worn past what is safe and ada's
forgotten clock; and a bike that waits for a part, with tom's clock on it. Two bikes' chains are
past their limit; their rider agreed to be contacted.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import paid_book
from paid_book import ON_THE_BENCH, TAGS
from small_book import amount, empty_book, event, shop_events

from ledger.book import Book
from ledger.riders import Rider

WAITING = TAGS[2]
WORN = (TAGS[1], TAGS[3])
CHAIN = {"position": "chain", "make": "Halm", "model": "K10"}


def ago(days: float, hours: float = 0) -> str:
    """Give an instant so long before now."""
    return (datetime.now(UTC) - timedelta(days=days, hours=hours)).isoformat()


def moved(draft: dict[str, Any], by: timedelta) -> dict[str, Any]:
    """Give a draft that happened later."""
    at = datetime.fromisoformat(draft["occurred_at"]) + by
    return {**draft, "occurred_at": at.isoformat()}


def worn(tag: str) -> list[dict[str, Any]]:
    """Give a chain from new past its limit, over most of a year."""

    def read(days: int, km: int, wear: str) -> list[dict[str, Any]]:
        figure = {"position": "chain", "quantity": "elongation", "value": amount(wear)}
        return [event("distance_read", ago(days), tag, odometer=amount(f"{km} km")),
                event("measured", ago(days), tag, **figure)]  # fmt: skip

    return [
        event("rider_changed", ago(330), tag, rider="r-1", riding="commute"),
        event("distance_read", ago(330), tag, odometer=amount("0 km")),
        event("part_fitted", ago(330), tag, part=f"{tag}-c", **CHAIN),
        *(one for each in ((200, 1500, "0.30 %"), (90, 2900, "0.60 %"), (12, 3900, "0.82 %"))
          for one in read(*each)),
    ]  # fmt: skip


def on_the_bench() -> list[dict[str, Any]]:
    """Give the two jobs that are open."""
    late, held = (ON_THE_BENCH, "open-1"), (WAITING, "open-2")
    pads = {"position": "rear_brake.pads", "quantity": "thickness", "value": amount("0.2 mm")}
    line = {"line": "l1", "line_type": "labour", "code": "brakes", "minutes": 30,
            "net_minor": 3000}  # fmt: skip
    quote = {"quote": "q1", "form": "fixed", "currency": "EUR", "lines": [line]}
    advice = {"position": "chain", "verdict": "due", "urgency": "now"}
    clock = {"task": "brakes", "minutes_kind": "quoted"}
    soon = (datetime.now(UTC) + timedelta(days=5)).isoformat()
    return [
        event("job_opened", ago(3), *late, tier="full_service", promised_at=ago(1)),
        event("measured", ago(2, 23), *late, **pads),
        event("quote_given", ago(2, 22), *late, **quote),
        event("advised", ago(2, 21), *late, **advice),
        event("labour_started", ago(1, 2), *late, **clock),
        event("job_opened", ago(2), *held, tier="quick_check", promised_at=soon),
        event("job_held", ago(0, 0.03), *held, waiting_for="part"),
        {**event("labour_started", ago(0, 0.02), *held, **clock), "actor": "tom"},
    ]


def home_book(path: Path) -> Book:
    """Make the book."""
    book = empty_book(path)
    book.riders.add([Rider("r-1", name="Tilde Moen", email="tilde@moen.invalid", may_contact=True)])
    tom = {"mechanic": "tom", "role": "mechanic", "name": "Tom Ebb"}
    book.append([*shop_events(), event("mechanic_registered", ago(800), None, **tom)])
    book.append([paid_book.terms(), *paid_book.bikes()])
    by = datetime.now(UTC) - datetime(2025, 4, 18, 12, tzinfo=UTC)
    drafts = [moved(one, by) for number in range(10) for one in paid_book.service(number)]
    drafts += [one for tag in WORN for one in worn(tag)] + on_the_bench()
    book.append(sorted(drafts, key=lambda draft: datetime.fromisoformat(draft["occurred_at"])))
    return book
