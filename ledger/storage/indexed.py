"""One file of a reading set, with what is known of it without reading it again."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from ledger.errors import BookDamaged
from ledger.storage.envelope import STORED, read_stored
from ledger.storage.named import CLOCKS, MOVES, Named

NAMES = ("bike", "kind", "part", "replaces", "job", "actor", "target_id")
"""The columns that names are indexed by."""
_TEXT = ("bike", *STORED)


@dataclass(frozen=True, slots=True)
class Names:
    """What the events of a small file name, so that most files need not be opened."""

    bikes: frozenset[str | None]
    parts: frozenset[str]
    """Parts that were fitted or removed."""
    jobs: frozenset[str]
    """Jobs that were opened."""
    actors: frozenset[str]
    """Mechanics whose clock was started or stopped."""
    struck: frozenset[bytes]
    """Ids that were struck."""

    @classmethod
    def of(cls, rows: Iterable[Mapping[str, Any]]) -> Names:
        """Give what rows of NAMES name."""
        held = list(rows)
        moved = [row for row in held if row["kind"] in MOVES]
        parts = {row[name] for row in moved for name in ("part", "replaces")}
        return cls(
            bikes=frozenset(row["bike"] for row in held),
            parts=frozenset(parts - {None}),
            jobs=frozenset(row["job"] for row in held if row["kind"] == "job_opened"),
            actors=frozenset(row["actor"] for row in held if row["kind"] in CLOCKS),
            struck=frozenset(row["target_id"] for row in held if row["kind"] == "event_struck"),
        )


class Footers:
    """The footers of the large files that were opened last: to parse one takes longer than to
    read a bike, and to hold those of all files takes gigabytes."""

    def __init__(self, most: int = 64) -> None:
        self._most = most
        self._held: OrderedDict[Path, pq.FileMetaData] = OrderedDict()
        self._lock = Lock()

    def get(self, path: Path) -> pq.FileMetaData | None:
        """Give a file's footer, if it is held."""
        with self._lock:
            if path in self._held:
                self._held.move_to_end(path)
            return self._held.get(path)

    def put(self, path: Path, footer: pq.FileMetaData) -> None:
        """Hold a file's footer, and let go of the one that was not asked for longest."""
        with self._lock:
            self._held[path] = footer
            self._held.move_to_end(path)
            while len(self._held) > self._most:
                self._held.popitem(last=False)


@dataclass(slots=True)
class IndexedFile:
    """A file, and its index."""

    path: Path
    count_groups: int
    names: Names | None
    """None in a large file: ask the segments."""
    footers: Footers | None = None
    """Where the footer of a large file is held."""
    named: Named | None = None
    """Of a large file, once it was asked for."""
    is_tiny: bool = False
    """So small that its text is held once it was read."""
    held: list[tuple[str | None, int, int, bytes]] | None = None

    @property
    def every_group(self) -> list[int]:
        """Give the numbers of all its row groups."""
        return list(range(self.count_groups))

    @contextmanager
    def opened(self) -> Iterator[pq.ParquetFile]:
        """Open it to be read."""
        footers = self.footers
        with opened(self.path, footers and footers.get(self.path)) as parquet:
            if footers is not None:
                footers.put(self.path, parquet.metadata)
            yield parquet

    def text(self) -> list[tuple[str | None, int, int, bytes]]:
        """Give bike, seq, commit and canonical bytes of every event of a tiny file."""
        if (held := self.held) is None:
            with self.opened() as parquet:
                table = read_stored(parquet, ["bike"])
            held = list(zip(*(table[name].to_pylist() for name in _TEXT), strict=True))
            self.held = held
        return held


@contextmanager
def opened(path: Path, metadata: pq.FileMetaData | None = None) -> Iterator[pq.ParquetFile]:
    """Open a file to be read; BookDamaged, naming it, where its bytes cannot be."""
    try:
        with pq.ParquetFile(path, metadata=metadata) as file:
            yield file
    except (pa.ArrowException, OSError, KeyError) as error:
        if isinstance(error, OSError) and error.errno is not None:
            error.filename = error.filename or str(path)
            raise
        wrong = " ".join(str(error).split()).rstrip(".")
        raise BookDamaged(
            f"{path.name} is damaged: {wrong}. Put it back from a backup; `lockring verify` "
            "looks at every file."
        ) from error
