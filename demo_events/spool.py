"""Any number of workshops in one book, in bounded memory.

Each workshop is simulated on its own and its commits put aside in a compressed file; the files
are then merged by recording time. Memory holds one workshop a process and one commit a file.
"""

from __future__ import annotations

import gzip
import heapq
import json
import marshal
import math
import os
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from demo_events.desk import Commit, Draft
from demo_events.opening import opening
from demo_events.truth import Truth
from demo_events.workshop import Workshop

RIDERS = pa.schema(
    [
        ("rider", pa.string()),
        ("name", pa.string()),
        ("contact", pa.string()),
        ("weight_kg", pa.int32()),
        ("may_contact", pa.bool_()),
    ]
)
BIKES_A_UNIT = 1600
EVENTS_A_BIKE = 40.6
"""About how many events a bike leaves in three years."""
PLAIN = ("id", "kind", "bike", "job", "actor", "occurred_at", "recorded_at")
Row = tuple[Any, ...]
"""The plain fields of one event, and its JSON but for the opening brace: `seq` goes before it."""
_encode = json.JSONEncoder(ensure_ascii=False, separators=(",", ":")).encode


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


def _recorded(commit: tuple[int, Any]) -> int:
    return commit[0]


def in_memory(plan: Plan, workshops: list[Workshop]) -> Iterator[list[Draft]]:
    """Give the book's commits from workshops that run side by side, numbered from 1."""
    streams = [opening(plan.seed, plan.count_units)]
    streams += [(commit for day in shop.days() for commit in day) for shop in workshops]
    seq = 0
    for _, drafts in heapq.merge(*streams, key=_recorded):
        for draft in drafts:
            seq += 1
            draft["seq"] = seq
        yield drafts


def _row(draft: Draft) -> Row:
    return (*(draft.get(name) for name in PLAIN), _encode(draft)[1:])


def _rows(commits: Iterable[Commit]) -> Iterator[tuple[int, list[Row]]]:
    for recorded, drafts in commits:
        yield recorded, [_row(draft) for draft in drafts]


def spool(plan: Plan, unit: int, folder: Path) -> None:
    """Run one workshop into files of a folder: commits, register and truth."""
    truth = Truth(folder, prefix=f"{unit:05d}-")
    shop = plan.workshop(unit, truth)
    with gzip.open(_path(folder, unit), "wb", compresslevel=1) as file:
        for day in shop.days():
            for commit in _rows(day):
                marshal.dump(commit, file)
    truth.close()
    people = pa.Table.from_pylist(shop.register.rows, RIDERS)
    pq.write_table(people, folder / f"{unit:05d}-riders.parquet")


def _path(folder: Path, unit: int) -> Path:
    return folder / f"{unit:05d}.commits"


def _read(path: Path) -> Iterator[tuple[int, list[Row]]]:
    with gzip.open(path, "rb") as file:
        while True:
            try:
                yield marshal.load(file)
            except EOFError:
                return


def spooled(plan: Plan, folder: Path) -> Iterator[list[Row]]:
    """Run every workshop through files in a folder; gives the rows of each commit, in order."""
    units = range(plan.count_units)
    if len(units) == 1:
        spool(plan, 0, folder)
    else:
        with ProcessPoolExecutor(os.cpu_count(), mp_context=get_context("spawn")) as pool:
            list(pool.map(spool, [plan] * len(units), units, [folder] * len(units)))
    streams = [_rows(opening(plan.seed, plan.count_units))]
    streams += [_read(_path(folder, unit)) for unit in units]
    return (rows for _, rows in heapq.merge(*streams, key=_recorded))
