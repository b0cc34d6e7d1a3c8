"""Any number of workshops in one book, in bounded memory.

Each workshop is simulated on its own and its commits put aside in a compressed file; the files
are then merged by recording time. Memory holds one workshop a process and one commit a file.
"""

from __future__ import annotations

import gzip
import heapq
import marshal
import math
import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from demo_events.desk import Commit, Draft
from demo_events.opening import opening
from demo_events.truth import Truth
from demo_events.workshop import Workshop

BIKES_A_UNIT = 1600
EVENTS_A_BIKE = 40.6
"""About how many events a bike leaves in three years."""


@dataclass(frozen=True, slots=True)
class Plan:
    """How much to make: `count_bikes` shared out over workshops of 1,600 at most."""

    seed: int
    count_bikes: int
    doubled: str | None = None

    @classmethod
    def of_events(cls, events: int, seed: int, doubled: str | None = None) -> Plan:
        """Give the plan that makes about so many events."""
        return cls(seed, max(1, round(events / EVENTS_A_BIKE)), doubled)

    @property
    def count_units(self) -> int:
        """How many workshops' worth of benches that takes."""
        return math.ceil(self.count_bikes / BIKES_A_UNIT)

    def bikes_of(self, unit: int) -> int:
        """Give the bikes of one workshop."""
        each, more = divmod(self.count_bikes, self.count_units)
        return each + (unit < more)

    def workshop(self, unit: int, truth: Truth) -> Workshop:
        """Give one workshop, ready to run."""
        return Workshop(self.seed, unit, self.bikes_of(unit), truth, self.doubled)


def _recorded(commit: Commit) -> int:
    return commit[0]


def numbered(streams: list[Iterator[Commit]]) -> Iterator[list[Draft]]:
    """Merge streams of commits by recording time and number their events from 1."""
    seq = 0
    for _, drafts in heapq.merge(*streams, key=_recorded):
        for draft in drafts:
            seq += 1
            draft["seq"] = seq
        yield drafts


def in_memory(plan: Plan, workshops: list[Workshop]) -> Iterator[list[Draft]]:
    """Give the book's commits from workshops that run side by side."""
    streams = [opening(plan.seed, plan.count_units)]
    streams += [(commit for day in shop.days() for commit in day) for shop in workshops]
    return numbered(streams)


def spool(plan: Plan, unit: int, folder: Path) -> list[dict[str, Any]]:
    """Run one workshop into files of a folder; gives its register."""
    truth = Truth(folder, prefix=f"{unit:05d}-")
    shop = plan.workshop(unit, truth)
    with gzip.open(_path(folder, unit), "wb", compresslevel=1) as file:
        for day in shop.days():
            for commit in day:
                marshal.dump(commit, file)
    truth.close()
    return shop.register.rows


def _path(folder: Path, unit: int) -> Path:
    return folder / f"{unit:05d}.commits"


def _read(path: Path) -> Iterator[Commit]:
    with gzip.open(path, "rb") as file:
        while True:
            try:
                yield marshal.load(file)
            except EOFError:
                return


def spooled(plan: Plan, folder: Path) -> tuple[list[dict[str, Any]], Iterator[list[Draft]]]:
    """Run every workshop through files in a folder; gives the register and the commits."""
    units = range(plan.count_units)
    with ProcessPoolExecutor(max_workers=os.cpu_count()) as pool:
        registers = pool.map(spool, [plan] * len(units), units, [folder] * len(units))
        rows = [row for register in registers for row in register]
    streams = [opening(plan.seed, plan.count_units)]
    streams += [_read(_path(folder, unit)) for unit in units]
    return rows, numbered(streams)
