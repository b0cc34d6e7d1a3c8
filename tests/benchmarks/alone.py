"""Work measured in a process of its own: nothing kept in memory, and its peak its own.

A module that measures so has a `main` that ends in `tell`; `alone` starts it and reads that.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from tests.benchmarks.measure import peak_mb

TIMES = 5
Made = TypeVar("Made")


@dataclass(frozen=True)
class Taken:
    """How long some work took, in seconds."""

    wall: float
    cpu: float


def timed(work: Callable[[], Made]) -> tuple[Made, Taken]:
    """Give what some work gives, and how long it took."""
    wall, cpu = time.perf_counter(), time.process_time()
    made = work()
    return made, Taken(time.perf_counter() - wall, time.process_time() - cpu)


def times(work: Callable[[], object], count: int = TIMES) -> list[float]:
    """Give the wall times of some work, in seconds, after a first run not counted."""
    work()
    return [timed(work)[1].wall for _ in range(count)]


def tell(**figures: Any) -> None:
    """Print figures, and this process's peak, for whoever started it."""
    print(json.dumps({**figures, "peak_mb": peak_mb()}, default=str))


def alone(module: str, *arguments: object) -> dict[str, Any]:
    """Run a module of this folder in a process of its own; gives what it told.

    Raises RuntimeError with what the process said where it failed.
    """
    command = [sys.executable, "-m", f"tests.benchmarks.{module}", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{module} {arguments}: {done.stderr[-3000:]}")
    told: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return told


def median(values: Sequence[float]) -> float:
    """Give the middle of some values."""
    ordered = sorted(values)
    return (ordered[(len(ordered) - 1) // 2] + ordered[len(ordered) // 2]) / 2


def percentile(values: Sequence[float], share: float) -> float:
    """Give the least value that at least this share of the values is not above."""
    ordered = sorted(values)
    return ordered[max(0, -int(-share * len(ordered) // 1) - 1)]


def seconds(value: float) -> str:
    """Give a time as the table shows it."""
    if value < 0.1:
        return f"{value * 1e3:.1f} ms"
    return f"{value:.2f} s" if value < 10 else f"{value:,.0f} s"


def files_of(book: Path) -> list[str]:
    """Give a book's files of events, in order of their commits; a peer reads them all."""
    return sorted(str(path) for path in (book / "events").glob("*.parquet"))


def warmed(book: Path) -> int:
    """Read a book's files, so that the page cache holds them as far as it can; gives their size."""
    size = 0
    for path in map(Path, files_of(book)):
        with path.open("rb") as file:
            while block := file.read(1 << 22):
                size += len(block)
    return size


def linked(book: Path, folder: Path) -> Path:
    """Give a book of the same files in a folder of its own, where what is kept beside may change.

    Files of events never change, so they are the same files by another name.
    """
    (folder / "events").mkdir(parents=True)
    (folder / "photos").mkdir()
    for name in ("book.toml", "riders.sqlite"):
        (folder / name).write_bytes((book / name).read_bytes())
    for path in map(Path, files_of(book)):
        os.link(path, folder / "events" / path.name)
    return folder
