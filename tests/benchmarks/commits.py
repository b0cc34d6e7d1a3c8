"""A durable commit of a 20-event job beside a bare durable write of the same bytes."""

from __future__ import annotations

import os
import statistics
import time
from pathlib import Path
from typing import Any

from ledger.book import Book
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


def _middle(taken: list[float]) -> str:
    return f"{statistics.median(taken[5:]) * 1e3:.1f} ms"


def measure(folder: Path) -> list[Row]:
    """Give the medians of both, taken in turn."""
    book = Book.init(folder / "book", shop="bench")
    book.append([_of("bike_registered")])
    bare = folder / "bare"
    bare.mkdir()
    ours, theirs, busy, bare_busy = [], [], [], []
    for number in range(COMMITS + 5):
        drafts = _job(number)
        assert len(drafts) == 20
        start, cpu = time.perf_counter(), time.process_time()
        book.append(drafts)
        ours.append(time.perf_counter() - start)
        busy.append(time.process_time() - cpu)
        content = book.files()[-1].read_bytes()
        start, cpu = time.perf_counter(), time.process_time()
        _bare(bare, number, content)
        theirs.append(time.perf_counter() - start)
        bare_busy.append(time.process_time() - cpu)
    assert book.head.size == 1 + 20 * (COMMITS + 5)
    mine, bare_write = statistics.median(ours[5:]), statistics.median(theirs[5:])
    return [
        Row(
            f"durable commit of a 20-event job ({COMMITS} commits, one process)",
            f"{mine * 1e3:.1f} ms, {1 / mine:.0f} a second, CPU {_middle(busy)}",
            f"bare write, fsync, link, fsync of the folder: {bare_write * 1e3:.1f} ms, "
            f"CPU {_middle(bare_busy)}",
            f"{mine / bare_write:.1f}×",
        )
    ]
