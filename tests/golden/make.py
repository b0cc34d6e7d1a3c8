"""Make the golden book of this release, once: `python -m tests.golden.make`.

A golden book is frozen: every later version must open it and give the same answers. It holds
distance readings in their first version, as an early shop recorded them.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from ledger.book import Book
from ledger.events import Event, canonical_bytes, parse_event
from ledger.queries import bike_view
from ledger.riders import Rider
from ledger.storage.head import next_footer
from ledger.storage.listing import commit_name
from ledger.storage.local import LocalStore
from ledger.storage.segment import Entry, encode
from ledger.view import view_json
from ledger.vocabulary import standard

HERE = Path(__file__).parent
FOLDER = HERE / "book-0.1.0"
TAG, OTHER = "7K3M9QXA", "8N4P2RYB"
START = datetime(2026, 2, 2, 8, 0, tzinfo=UTC)
LATEST = datetime(2026, 3, 1, tzinfo=UTC)


def _of(
    kind: str, at: datetime | None = None, bike: str | None = TAG, **data: Any
) -> dict[str, Any]:
    job = data.pop("job", None)
    given = {"bike": bike, "job": job, "occurred_at": at and at.isoformat()}
    draft = {"kind": kind, "actor": "m1", "data": data}
    return draft | {name: value for name, value in given.items() if value is not None}


def old_form(event: Event) -> bytes:
    """Give a distance reading's bytes as version 1 wrote them."""
    raw = json.loads(canonical_bytes(event))
    source = raw["data"].pop("source")
    raw["schema_version"] = 1
    raw["data"]["told"] = source == "told"
    return json.dumps(raw, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def _append_old(book: Book, km: str, source: str, at: datetime) -> None:
    """Commit one distance reading in its first version."""
    head = book.head
    seq = head.size + 1
    event = parse_event(
        {
            **_of(
                "distance_read", at, odometer={"value": km, "unit": "km", "canonical": km + ".000"}
            ),
            "id": f"019c0000-0000-7000-8000-{seq:012x}",
            "shop": "quayside",
            "seq": seq,
            "recorded_at": head.recorded_at,
            "schema_version": 2,
        }
    )
    event = event.model_copy(update={"data": event.data.model_copy(update={"source": source})})
    content = old_form(event)
    footer = next_footer(head, [event], [content])
    units = {code: word.unit for code, word in standard().quantities.items()}
    file = encode([Entry(head.commit + 1, event, content)], footer, units)
    LocalStore(book.path / "events").create(commit_name(head.commit + 1), file)


def _life(book: Book, at: Callable[[int], datetime]) -> None:
    book.append([
        _of("mechanic_registered", at(0), None, mechanic="m1", role="owner"),
        _of("gauge_registered", at(0), None, gauge="g1", label="chain gauge",
            quantities=["elongation"]),
        _of("terms_set", at(0), None, from_on="2026-01-01",
            tiers=[{"code": "check", "label": "check"}]),
    ])  # fmt: skip
    book.append([
        _of("bike_registered", at(1), make="Ordwick", model="Headland", speeds=10,
            riding="touring"),
        _of("rider_changed", at(2), rider="r1"),
        _of("job_opened", at(3), job="J1", tier="check", complaint="creaks on the hill"),
    ])  # fmt: skip
    _append_old(book, "1200", "read", at(10))
    fitted = book.append(
        [_of("part_fitted", at(20), job="J1", position="chain", part="c1", model="E")]
    )
    book.append([
        _of("measured", at(30), job="J1", position="chain", quantity="elongation",
            value={"value": "12.1", "unit": "in"}, over_pitches=24, gauge="g1"),
        _of("adjusted", at(31), job="J1", position="stem", quantity="torque",
            after={"value": "44", "unit": "lbf.in"}),
        _of("inspected", at(32), job="J1", position="headset", verdict="watch", fault="play"),
        _of("advised", at(33), job="J1", position="headset", verdict="watch", urgency="soon",
            advice="have it looked at before the tour"),
    ])  # fmt: skip
    _append_old(book, "1350", "told", at(40))
    book.append([_of("noted", at(45), position="chain", text="waxed")])
    book.strike(fitted.events[0].id, "that chain went on the bike beside it", "m1")


def make(folder: Path) -> None:
    """Write the golden book and what it must answer."""
    now = START

    def clock() -> datetime:
        nonlocal now
        now += timedelta(minutes=1)
        return now + timedelta(hours=2)

    book = Book.init(folder, shop="quayside", time_zone="Europe/Lisbon", clock=clock)
    book.riders.add([Rider("r1", name="Sorrel Kelpwright", may_contact=True)])
    _life(book, lambda minute: START + timedelta(minutes=minute))
    answers = {
        "root": book.head.root,
        "size": book.head.size,
        "bike": TAG,
        "states": [
            {"known": seq, "state": view_json(bike_view(book, TAG, LATEST, seq))}
            for seq in range(4, book.head.size + 1)
        ],
        "texts": [
            text
            for event in book.events()
            for text in book.reveal(event)["data"].values()
            if event.kind in ("noted", "event_struck") and isinstance(text, str)
        ],
    }
    (folder / "answers.json").write_text(json.dumps(answers, indent=1, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    if FOLDER.exists():
        raise SystemExit(f"{FOLDER.name} is frozen; a new release gets a folder of its own")
    try:
        make(FOLDER)
    except BaseException:
        shutil.rmtree(FOLDER, ignore_errors=True)
        raise
