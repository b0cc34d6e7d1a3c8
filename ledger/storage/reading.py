"""Finding events in a book's files without reading what need not be read.

A small index of every file in the reading set is kept in memory and follows new commits: which
bikes, parts and jobs a commit's file names, and which bikes each row group of a segment holds.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import reduce
from pathlib import Path
from threading import Lock
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.errors import BookDamaged
from ledger.storage import segments
from ledger.storage.ids import Ids, hashes
from ledger.storage.named import CLOCKS, MOVES, Named, named_in
from ledger.storage.schema import EVENT_SCHEMA
from ledger.storage.segments import Segments

Row = tuple[int, int, bytes]
"""(seq, commit, canonical bytes)"""

_NAMING = ("kind", "part", "replaces", "job", "actor", "occurred_at")
_NAMES = ("bike", "kind", "part", "replaces", "job", "actor", "target_id")

_SMALL = 20_000
"""Files of up to this many rows are indexed by name; larger ones are segments."""


@dataclass(frozen=True, slots=True)
class _Names:
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
    def of(cls, rows: Iterable[Mapping[str, Any]]) -> _Names:
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


@dataclass(slots=True)
class _File:
    path: Path
    count_groups: int
    names: _Names | None
    """None in a large file: ask the segments."""
    metadata: pq.FileMetaData | None = None
    """Kept for a large file, whose footer takes longer to parse than a bike to read."""
    named: Named | None = None
    """Of a large file, once it was asked for."""

    @contextmanager
    def opened(self) -> Iterator[pq.ParquetFile]:
        """Open it to be read."""
        with _opened(self.path, self.metadata) as parquet:
            if self.names is None:
                self.metadata = parquet.metadata
            yield parquet


@contextmanager
def _opened(path: Path, metadata: pq.FileMetaData | None = None) -> Iterator[pq.ParquetFile]:
    """Open a file to be read; BookDamaged, naming it, where its bytes cannot be."""
    try:
        with pq.ParquetFile(path, metadata=metadata) as file:
            yield file
    except (pa.ArrowException, OSError) as error:
        if isinstance(error, OSError) and error.errno is not None:
            error.filename = error.filename or str(path)
            raise
        wrong = " ".join(str(error).split()).rstrip(".")
        raise BookDamaged(
            f"{path.name} is damaged: {wrong}. Put it back from a backup; `lockring verify` "
            "looks at every file."
        ) from error


class Reader:
    """Reads events out of a reading set of Parquet files."""

    def __init__(self, folder: Path | None = None) -> None:
        """`folder` is where what is known of a great book's files is kept, if anywhere."""
        self._files: dict[Path, _File] = {}
        self._ids = Ids()
        self._folder = folder
        self._met = 0
        """The last commit taken in."""
        self._segments: Segments | None = None
        self._lock = Lock()

    def refresh(self, paths: Sequence[Path]) -> list[Path]:
        """Take the present reading set in; gives the files that hold commits not met before."""
        new = [path for path in paths if path not in self._files]
        if len(paths) - len(new) < len(self._files):
            kept = frozenset(paths)
            self._files = {path: file for path, file in self._files.items() if path in kept}
            self._ids.keep(kept)
        if new:
            self._take_in(new)
        # A segment of commits that were read singly is a new file with nothing new in it.
        met, self._met = self._met, max(map(_last_commit, paths), default=0)
        return [path for path in new if _last_commit(path) > met]

    def _take_in(self, paths: Iterable[Path]) -> None:
        with self._lock:
            known = self._segments
            if known is None:
                known = Segments() if self._folder is None else segments.read(self._folder)
            found: list[Segments] = []
            files = [self._index(path, known, found) for path in paths]
            if found:
                names = {path.name for path in self._files} | {file.path.name for file in files}
                fresh = {one.name for other in found for one in other.files}
                known = known.only(names - fresh).joined(found)
                if self._folder is not None:
                    segments.write(self._folder, known)
            # What holds the places of bikes is there before the files that are looked up in it.
            self._segments = known
            self._files.update((file.path, file) for file in files)

    def _index(self, path: Path, known: Segments, found: list[Segments]) -> _File:
        """Give a file's index; what is learned of a large one is added to `found`."""
        if (segment := known.named(path)) is not None:
            return _File(path, segment.count_groups, None)
        with _opened(path) as file:
            groups = file.metadata.num_row_groups
            if file.metadata.num_rows > _SMALL:
                found.append(segments.of_file(path, file))
                return _File(path, groups, None, file.metadata)
            # Opening a small file costs more than reading it: the ids come along.
            table = file.read([*_NAMES, "id"], use_threads=False)
            self._ids.add(path, hashes(table["id"]))
            rows = table.select(_NAMES).to_pylist()
            return _File(path, groups, _Names.of(rows))

    def add_own(self, path: Path, rows: Sequence[Mapping[str, Any]]) -> None:
        """Take in a file this process has just written, from its rows instead of from the disk.

        `rows` are its events' columns that names are indexed by.
        """
        if len(rows) > _SMALL or path in self._files:
            return
        self._files[path] = _File(path, 1, _Names.of(rows))
        self._met = max(self._met, _last_commit(path))

    def of_bikes(self, bikes: Iterable[str]) -> list[Row]:
        """Give the stored events of these tags, in seq order."""
        asked = frozenset(bikes)
        return self._rows(self._where(asked), pc.field("bike").isin(sorted(asked)), ["bike"])

    def _where(self, bikes: frozenset[str]) -> Callable[[_File], list[int]]:
        """Give what gives the row groups of a file that hold events of these bikes."""
        held = self._segments.groups(bikes) if self._segments is not None else {}

        def where(file: _File) -> list[int]:
            if file.names is None:
                return held.get(file.path.name, [])
            return [] if file.names.bikes.isdisjoint(bikes) else _every_group(file)

        return where

    def table_of_bikes(self, bikes: Iterable[str], columns: Sequence[str]) -> pa.Table:
        """Give hot columns of the stored events of these tags, in no promised order.

        A column that a file does not have yet comes as nulls.
        """
        asked = frozenset(bikes)
        keep = pc.field("bike").isin(sorted(asked))
        schema = pa.schema([EVENT_SCHEMA.field(name) for name in columns])
        tables, where = [schema.empty_table()], self._where(asked)
        for file in self._files.values():
            if groups := where(file):
                with file.opened() as parquet:
                    table = parquet.read_row_groups(
                        groups, columns=list(dict.fromkeys([*columns, "bike"])), use_threads=False
                    )
                tables.append(_as_declared(table.filter(keep), schema))
        return pa.concat_tables(tables)

    def of_the_book(self) -> list[Row]:
        """Give the stored events that name no bike, in seq order."""

        def where(file: _File) -> list[int]:
            return _every_group(file) if file.names and None in file.names.bikes else []

        small = self._rows(where, pc.field("bike").is_null(), ["bike"])
        large = self._large()
        return sorted([*small, *(self._segments.own(large) if self._segments else ())])

    def _large(self) -> list[str]:
        return [file.path.name for file in self._files.values() if file.names is None]

    def at_seq(self, seq: int) -> Row | None:
        """Give the stored event of one seq; None where the book has no such seq."""
        return next(iter(self._rows(_every_group, pc.field("seq") == seq, [])), None)

    def bikes_changed(self, paths: Iterable[Path]) -> frozenset[str | None] | None:
        """Give the bikes these files name; None where a file is too large to tell."""
        found: set[str | None] = set()
        for path in paths:
            names = self._files[path].names
            if names is None:
                return None
            found |= names.bikes
        return frozenset(found)

    def naming(
        self,
        parts: frozenset[str],
        jobs: frozenset[str],
        actors: frozenset[str] = frozenset(),
        since: datetime | None = None,
    ) -> list[Row]:
        """Give the moves of these parts, the openings of these jobs, and these people's clocks.

        Clocks only from `since` on.
        """
        asked = []
        if parts:
            named = pc.field("part").isin(sorted(parts)) | pc.field("replaces").isin(sorted(parts))
            asked.append(pc.field("kind").isin(MOVES) & named)
        if jobs:
            opened = pc.field("kind") == "job_opened"
            asked.append(opened & pc.field("job").isin(sorted(jobs)))
        if actors:
            clock = pc.field("kind").isin(CLOCKS)
            recent = pc.field("occurred_at") >= pa.scalar(since, pa.timestamp("us", "UTC"))
            asked.append(clock & recent & pc.field("actor").isin(sorted(actors)))
        if not asked:
            return []

        def may_name(file: _File) -> list[int]:
            if (names := file.names) is None:
                named = self._named(file)
                clocks = named.with_clocks(since) if actors else []
                return sorted({*named.naming(parts | jobs), *clocks})
            if names.parts.isdisjoint(parts) and names.jobs.isdisjoint(jobs):
                return [] if names.actors.isdisjoint(actors) else _every_group(file)
            return _every_group(file)

        return self._rows(may_name, reduce(operator.or_, asked), _NAMING)

    def strikes_of(self, ids: frozenset[bytes]) -> list[Row]:
        """Give the strikes of these events."""
        if not ids:
            return []
        struck = pc.field("kind") == "event_struck"
        targets = pa.array(sorted(ids), pa.binary(16))

        def may_strike(file: _File) -> list[int]:
            if file.names is None:
                return self._named(file).naming(ids)
            return [] if file.names.struck.isdisjoint(ids) else _every_group(file)

        keep = struck & pc.field("target_id").isin(targets)
        return self._rows(may_strike, keep, ["kind", "target_id"])

    def _named(self, file: _File) -> Named:
        """Give what a large file names, read through once."""
        with self._lock:
            if file.named is None:
                with file.opened() as parquet:
                    file.named = named_in(parquet)
            return file.named

    def _rows(
        self, pick: Callable[[_File], list[int]], keep: pc.Expression, by: Iterable[str]
    ) -> list[Row]:
        columns = ["seq", "commit", "canonical"]
        needed = [*columns, *by]
        found: list[Row] = []
        for file in self._files.values():
            groups = pick(file)
            if not groups:
                continue
            with file.opened() as parquet:
                table = parquet.read_row_groups(groups, columns=needed, use_threads=False)
            table = table.filter(keep).select(columns)
            found.extend(zip(*(table[name].to_pylist() for name in columns), strict=True))
        return sorted(found)

    def with_ids(self, ids: Iterable[bytes]) -> dict[bytes, Row]:
        """Give the stored event of each id that the book holds."""
        asked = list(ids)
        if not asked:
            return {}
        self._index_ids()
        tails = np.frombuffer(b"".join(asked), dtype=np.uint64)[1::2]
        hits = [one for one, hit in zip(asked, self._ids.which(tails), strict=True) if hit]
        return self._look_up(hits) if hits else {}

    def _index_ids(self) -> None:
        for path in self._files:
            if path not in self._ids.of_file:
                with _opened(path) as file:
                    self._ids.add(path, hashes(file.read(["id"])["id"]))

    def _look_up(self, ids: list[bytes]) -> dict[bytes, Row]:
        wanted = pa.array(ids, pa.binary(16))
        tails = np.frombuffer(b"".join(ids), dtype=np.uint64)[1::2]
        found: dict[bytes, Row] = {}
        for path in self._files:
            if not np.isin(tails, self._ids.of_file[path]).any():
                continue
            with _opened(path) as file:
                for group in range(file.metadata.num_row_groups):
                    mask = pc.is_in(file.read_row_group(group, ["id"])["id"], value_set=wanted)
                    if not pc.any(mask).as_py():
                        continue
                    table = file.read_row_group(group, ["id", "seq", "commit", "canonical"])
                    for row in table.filter(mask).to_pylist():
                        found[row["id"]] = (row["seq"], row["commit"], row["canonical"])
        return found

    def in_order(self, after: int = 0) -> Iterator[Row]:
        """Give every stored event behind a seq, in seq order, a file at a time."""
        for path in sorted(self._files, key=lambda path: _first_commit(path.name)):
            with _opened(path) as file:
                table = file.read(["seq", "commit", "canonical"]).sort_by("seq")
            table = table.filter(pc.field("seq") > after)
            for batch in table.to_batches(max_chunksize=10_000):
                yield from zip(*(column.to_pylist() for column in batch.columns), strict=True)

    def bikes(self) -> list[str]:
        """Give every tag that the book's events name, sorted."""
        found: set[str | None] = set()
        for file in self._files.values():
            found |= file.names.bikes if file.names is not None else frozenset()
        found |= self._segments.bikes(self._large()) if self._segments is not None else frozenset()
        return sorted(bike for bike in found if bike is not None)


def _as_declared(table: pa.Table, schema: pa.Schema) -> pa.Table:
    present = frozenset(table.column_names)
    return pa.table(
        [
            table[field.name] if field.name in present else pa.nulls(len(table), field.type)
            for field in schema
        ],
        schema=schema,
    )


def _every_group(file: _File) -> list[int]:
    return list(range(file.count_groups))


def _last_commit(path: Path) -> int:
    """Give the last commit of `c-<n>.parquet` or `s-<first>-<last>.parquet`."""
    return int(path.name.split(".")[0].split("-")[-1])


def _first_commit(name: str) -> int:
    """Give the first commit of `c-<n>.parquet` or `s-<first>-<last>.parquet`."""
    return int(name.split(".")[0].split("-")[1])
