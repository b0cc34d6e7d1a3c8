"""Which ids a book holds, as sorted hashes: enough to tell "surely not there" without a look."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyarrow as pa

Hashes = npt.NDArray[np.uint64]

_MOST_RECENT = 20_000
"""So many ids of new commits are kept apart: to sort a great book's anew takes long."""


def hashes(ids: pa.ChunkedArray | pa.Array) -> Hashes:
    """Give the random tail of each id as a number."""
    chunks = ids.chunks if isinstance(ids, pa.ChunkedArray) else [ids]
    parts = []
    for chunk in chunks:
        raw = np.frombuffer(chunk.buffers()[1], dtype=np.uint64)
        start = 2 * chunk.offset
        parts.append(raw[start + 1 : start + 2 * len(chunk) : 2])
    return np.concatenate(parts) if parts else _none()


def beginnings(ids: pa.ChunkedArray | pa.Array) -> Hashes:
    """Give the first eight bytes of each id as a number: mostly the time it was made.

    They sort as ids do, so that files of other times need not be looked through for an id.
    """
    chunks = ids.chunks if isinstance(ids, pa.ChunkedArray) else [ids]
    parts = [
        np.frombuffer(chunk.buffers()[1], dtype=">u8")[
            2 * chunk.offset : 2 * (chunk.offset + len(chunk)) : 2
        ]
        for chunk in chunks
        if len(chunk)
    ]
    return np.concatenate(parts).astype(np.uint64) if parts else _none()


def _none() -> Hashes:
    return np.empty(0, np.uint64)


@dataclass(slots=True)
class Ids:
    """The ids of every file of a book; built only when somebody brings ids."""

    known: Hashes = field(default_factory=_none)
    recent: Hashes = field(default_factory=_none)
    fresh: list[Hashes] = field(default_factory=list)
    of_file: dict[Path, Hashes] = field(default_factory=dict)

    def add(self, path: Path, found: Hashes) -> None:
        """Take in the ids of a file."""
        self.of_file[path] = found
        self.fresh.append(found)

    def keep(self, paths: Collection[Path]) -> None:
        """Forget in which other files ids are; that they were somewhere costs a look at most."""
        self.of_file = {path: held for path, held in self.of_file.items() if path in paths}

    def which(self, asked: Hashes) -> npt.NDArray[np.bool_]:
        """Tell which ids may be there; those that are not surely are not."""
        if self.fresh:
            self.recent = _sorted(self.recent, *self.fresh)
            self.fresh = []
        if len(self.recent) > _MOST_RECENT:
            self.known, self.recent = _sorted(self.known, self.recent), _none()
        return _among(asked, self.known) | _among(asked, self.recent)


def _sorted(*parts: Hashes) -> Hashes:
    return np.sort(np.concatenate(parts), kind="stable")


def _among(asked: Hashes, known: Hashes) -> npt.NDArray[np.bool_]:
    if not len(known):
        return np.zeros(len(asked), np.bool_)
    at = np.minimum(np.searchsorted(known, asked), len(known) - 1)
    found: npt.NDArray[np.bool_] = known[at] == asked
    return found
