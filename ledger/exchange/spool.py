"""Rows kept aside on disk and given back in order of time, however many they are."""

from __future__ import annotations

import json
import tempfile
from array import array
from collections.abc import Iterator, Sequence
from datetime import datetime

import numpy as np

from ledger.exchange.workbook import Exact


class Spool:
    """A file without a name that holds rows; in memory are 16 bytes a row."""

    def __init__(self) -> None:
        self._file = tempfile.TemporaryFile(buffering=1 << 20)  # noqa: SIM115 - closed on exit
        self._times = array("q")
        self._offsets = array("q")
        self._end = 0

    def __enter__(self) -> Spool:
        return self

    def __exit__(self, *error: object) -> None:
        self._file.close()

    def __len__(self) -> int:
        return len(self._times)

    def add(self, number: int, when: datetime, cells: Sequence[str]) -> None:
        """Keep a row, its number and its instant."""
        kept = [[cell] if isinstance(cell, Exact) else cell for cell in cells]
        line = json.dumps([number, kept]).encode() + b"\n"
        self._times.append(round(when.timestamp() * 1_000_000))
        self._offsets.append(self._end)
        self._file.write(line)
        self._end += len(line)

    def in_order(self) -> Iterator[tuple[int, tuple[str, ...]]]:
        """Give (row number, cells) by time; rows of one instant in the file's order of time."""
        self._file.flush()
        times = np.frombuffer(self._times, dtype=np.int64)
        steps = np.diff(times)
        if (steps >= 0).all():
            self._file.seek(0)
            yield from map(_row, self._file)
            return
        for index in _order(times, newest_first=int((steps < 0).sum() - (steps > 0).sum()) > 0):
            self._file.seek(self._offsets[index])
            yield _row(self._file.readline())


def _order(times: np.ndarray[tuple[int], np.dtype[np.int64]], newest_first: bool) -> Iterator[int]:
    if newest_first:
        return reversed([int(index) for index in np.argsort(-times, kind="stable")])
    return (int(index) for index in np.argsort(times, kind="stable"))


def _row(line: bytes) -> tuple[int, tuple[str, ...]]:
    number, kept = json.loads(line)
    return number, tuple(Exact(cell[0]) if isinstance(cell, list) else cell for cell in kept)
