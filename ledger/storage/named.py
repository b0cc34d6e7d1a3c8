"""What the row groups of a great file name, so that a commit need not read that file through.

Kept in memory as hashes, for each file once: two names of one hash cost a look, never a mistake.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

MOVES = ("part_fitted", "part_removed")
CLOCKS = ("labour_started", "labour_stopped")
_COLUMNS = ["kind", "part", "replaces", "job", "target_id", "occurred_at"]
_NAMING: tuple[tuple[str, Sequence[str]], ...] = (
    ("part", MOVES),
    ("replaces", MOVES),
    ("job", ("job_opened",)),
    ("target_id", ("event_struck",)),
)
"""Columns that name something, and in which kinds of event that is looked for."""


@dataclass(frozen=True, slots=True)
class Named:
    """Where one file names moved parts, opened jobs and struck events, and has clocks."""

    hashes: npt.NDArray[np.int64]
    """Of the names, sorted; the same name once for each row group that has it."""
    groups: npt.NDArray[np.int32]
    """The row group of each."""
    clocks_until: tuple[datetime | None, ...]
    """For each row group, when the last clock in it was moved."""

    def naming(self, names: Iterable[str | bytes]) -> list[int]:
        """Give the row groups that may name any of these, sorted."""
        asked = _hashed(names)
        first = np.searchsorted(self.hashes, asked, "left")
        last = np.searchsorted(self.hashes, asked, "right")
        spans = [self.groups[a:b] for a, b in zip(first, last, strict=True)]
        return sorted({int(group) for span in spans for group in span})

    def with_clocks(self, since: datetime | None) -> list[int]:
        """Give the row groups with a clock moved at an instant or later."""
        return [
            group
            for group, last in enumerate(self.clocks_until)
            if last is not None and (since is None or last >= since)
        ]


def named_in(file: pq.ParquetFile) -> Named:
    """Read what an open file names."""
    hashes, groups, clocks = [np.empty(0, np.int64)], [np.empty(0, np.int32)], []
    for number in range(file.metadata.num_row_groups):
        table = file.read_row_group(number, columns=_COLUMNS, use_threads=False)
        found = _hashed(_names_of(table))
        hashes.append(found)
        groups.append(np.full(len(found), number, np.int32))
        moved = table["occurred_at"].filter(_of_kinds(table, CLOCKS))
        clocks.append(pc.max(moved).as_py())
    held, where = np.concatenate(hashes), np.concatenate(groups)
    order = np.argsort(held, kind="stable")
    return Named(held[order], where[order], tuple(clocks))


def _names_of(table: pa.Table) -> set[str | bytes]:
    found: set[str | bytes | None] = set()
    for column, kinds in _NAMING:
        found |= set(table[column].filter(_of_kinds(table, kinds)).to_pylist())
    return {name for name in found if name is not None}


def _of_kinds(table: pa.Table, kinds: Sequence[str]) -> pa.ChunkedArray:
    return pc.is_in(table["kind"], value_set=pa.array(kinds, table["kind"].type))


def _hashed(names: Iterable[str | bytes]) -> npt.NDArray[np.int64]:
    return np.array([hash(name) for name in names], np.int64)
