"""A durable commit of a 20-event job beside a bare durable write of the same bytes.

Twice: of what somebody entered, read, completed, held to every rule and sealed; and of the same
events decided already, into a log of their own, which is the commit alone.
"""

from __future__ import annotations

import json
import os
import statistics
from pathlib import Path
from typing import Any

from ledger.book import Book
from ledger.events import Event, parse_event
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.storage.segment import read_events
from tests.benchmarks.alone import Taken, timed
from tests.benchmarks.measure import Row

TAG = "7K3M9QXA"
COMMITS = 200


def _of(kind: str, job: str | None = None, **data: Any) -> dict[str, Any]:
    draft = {"kind": kind, "bike": TAG, "actor": "m1", "data": data}
    return draft | ({"job": job} if job else {})


def _job(number: int) -> list[dict[str, Any]]:
    """Give a visit of 20 events."""
    job = f"J{number}"
    looks = [
        _of("inspected", job, position=position, verdict="within limit")
        for position in ("drivetrain", "front_brake", "rear_brake", "front_wheel", "rear_wheel")
    ]
    readings = [
        _of("measured", job, position=place, quantity="pressure", value={"value": v, "unit": "psi"})
        for place, v in (("front_wheel.tyre", "62"), ("rear_wheel.tyre", "70"))
    ]
    settings = [
        _of("adjusted", job, position=place, quantity="torque", after={"value": v, "unit": "N·m"})
        for place, v in (("stem", "5"), ("seatpost", "6"), ("front_wheel", "12"), ("saddle", "14"))
    ]
    treated = [
        _of("treated", job, position=place, treatment="cleaned")
        for place in ("chain", "front_brake.rotor", "rear_brake.rotor")
    ]
    return [
        _of("job_opened", job, complaint="ticks when pedalling"),
        _of("distance_read", job, odometer={"value": str(1000 + number), "unit": "km"}),
        *looks,
        *readings,
        *settings,
        *treated,
        _of("labour_logged", job, task="inspection", minutes=25),
        _of("released", job, is_test_ridden=True),
        _of("job_closed", job),
        _of("noted", position="chain", text="waxed, wipe only"),
    ]


def _bare(folder: Path, number: int, content: bytes) -> None:
    """Write, fsync, link and fsync the folder: what any durable, exclusive create costs."""
    temporary = folder / f".{number}"
    file = os.open(temporary, os.O_CREAT | os.O_WRONLY)
    os.write(file, content)
    os.fsync(file)
    os.close(file)
    os.link(temporary, folder / str(number))
    temporary.unlink()
    handle = os.open(folder, os.O_RDONLY)
    os.fsync(handle)
    os.close(handle)


def _middle(taken: list[Taken], wall: float) -> str:
    """Give the median, and how many a second come of all of them: merging of files is in some."""
    cpu = statistics.median(one.cpu for one in taken[5:])
    on_end = len(taken[5:]) / sum(one.wall for one in taken[5:])
    return f"{wall * 1e3:.1f} ms, CPU {cpu * 1e3:.1f} ms; on end {on_end:.0f} a second"


def measure(folder: Path) -> list[Row]:
    """Give the medians of all three, taken in turn."""
    book = Book.init(folder / "book", shop="bench")
    book.append([_of("bike_registered")])
    log = Log(LocalStore(Book.init(folder / "log", shop="bench").path / "events"))
    log.commit(lambda _: _events_of(book))
    bare = folder / "bare"
    bare.mkdir()
    taken: dict[str, list[Taken]] = {"book": [], "log": [], "bare": []}
    for number in range(COMMITS + 5):
        drafts = _job(number)
        assert len(drafts) == 20
        taken["book"].append(timed(lambda drafts=drafts: book.append(drafts))[1])
        events = _events_of(book)
        taken["log"].append(timed(lambda events=events: log.commit(lambda _: events))[1])
        content = book.files()[-1].read_bytes()
        written = timed(lambda number=number, content=content: _bare(bare, number, content))[1]
        taken["bare"].append(written)
    assert book.head.size == log.head().size == 1 + 20 * (COMMITS + 5)
    assert book.head.root == log.head().root
    wall = {who: statistics.median(one.wall for one in all_[5:]) for who, all_ in taken.items()}
    beside = f"bare write, fsync, link, fsync of the folder: {_middle(taken['bare'], wall['bare'])}"
    names = {
        "book": f"durable commit of a 20-event job ({COMMITS} commits, one process)",
        "log": "– the commit alone, its events decided already",
    }
    return [
        Row(name, _middle(taken[who], wall[who]), beside, f"{wall[who] / wall['bare']:.1f}×")
        for who, name in names.items()
    ]


def _events_of(book: Book) -> list[Event]:
    """Give the events of the newest commit."""
    stored = read_events(book.files()[-1].read_bytes())
    return [parse_event(json.loads(one.canonical)) for one in stored]
