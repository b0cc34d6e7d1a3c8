"""Finding events in a book's files without reading what need not be read.

A small index of every file in the reading set is kept in memory and follows new commits: which
bikes, parts and jobs a commit's file names, and which bikes each row group of a segment holds.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from functools import reduce
from pathlib import Path
from threading import RLock
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.storage import segments
from ledger.storage.envelope import STORED, read_stored
from ledger.storage.ids import Ids, hashes
from ledger.storage.indexed import NAMES, Footers, IndexedFile, Names, opened
from ledger.storage.named import CLOCKS, MOVES, Named, named_in
from ledger.storage.packs import FEWEST_EVENTS as FEWEST_PACKED
from ledger.storage.packs import FOLDER as PACKS
from ledger.storage.packs import Packs, Tell
from ledger.storage.schema import EVENT_SCHEMA, as_declared
from ledger.storage.segments import Segments

Row = tuple[int, int, bytes]
"""(seq, commit, canonical bytes)"""

_NAMING = ("kind", "part", "replaces", "job", "actor", "occurred_at")

_SMALL = 20_000
"""Files of up to this many rows are indexed by name; larger ones are segments."""


class _FileSet(NamedTuple):
    """The files of a reading set; put in place all at once, since threads ask meanwhile."""

    by_path: Mapping[Path, IndexedFile]
    small: tuple[IndexedFile, ...]
    great: Mapping[str, IndexedFile]
    """By name."""


def _file_set(files: Iterable[IndexedFile]) -> _FileSet:
    by_path = {file.path: file for file in files}
    small = tuple(file for file in by_path.values() if file.names is not None)
    great = {file.path.name: file for file in by_path.values() if file.names is None}
    return _FileSet(by_path, small, great)


class Reader:
    """Reads events out of a reading set of Parquet files."""

    def __init__(self, folder: Path | None = None) -> None:
        """`folder` is where what is known of a great book's files is kept, if anywhere."""
        self._set = _FileSet({}, (), {})
        self._ids = Ids()
        self._folder = folder
        self._met = 0
        """The last commit taken in."""
        self._refreshed: Sequence[Path] = ()
        self._segments: Segments | None = None
        self._bikes: tuple[_FileSet, list[str]] | None = None
        """Every tag that these files name."""
        self._lock = RLock()
        self._footers = Footers()
        self.packs = None if folder is None else Packs(folder / PACKS)

    @property
    def _files(self) -> Mapping[Path, IndexedFile]:
        return self._set.by_path

    def refresh(self, paths: Sequence[Path]) -> list[Path]:
        """Take the present reading set in; gives the files that hold commits not met before."""
        if paths is self._refreshed:
            return []
        with self._lock:
            last = _last_commit(paths[-1]) if paths else 0
            if last < self._met:
                return []  # a thread that listed earlier comes later
            new = [path for path in paths if path not in self._files]
            if len(paths) - len(new) < len(self._files):
                kept = frozenset(paths)
                self._set = _file_set(file for path, file in self._files.items() if path in kept)
                self._ids.keep(kept)
            if new:
                self._take_in(new)
            # A segment of commits that were read singly is a new file with nothing new in it.
            met, self._met, self._refreshed = self._met, last, paths
            return [path for path in new if _last_commit(path) > met]

    def _take_in(self, paths: Iterable[Path]) -> None:
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
        self._set = _file_set([*self._files.values(), *files])

    def _index(self, path: Path, known: Segments, found: list[Segments]) -> IndexedFile:
        """Give a file's index; what is learned of a large one is added to `found`."""
        if (segment := known.named(path)) is not None:
            return IndexedFile(path, segment.count_groups, None, self._footers)
        with opened(path) as file:
            groups = file.metadata.num_row_groups
            if file.metadata.num_rows > _SMALL:
                found.append(segments.of_file(path, file))
                return IndexedFile(path, groups, None, self._footers)
            # Opening a small file costs more than reading it: the ids come along.
            table = file.read([*NAMES, "id"], use_threads=False)
            self._ids.add(path, hashes(table["id"]))
            rows = table.select(NAMES).to_pylist()
            is_tiny = file.metadata.num_rows < FEWEST_PACKED
            return IndexedFile(path, groups, Names.of(rows), is_tiny=is_tiny)

    def add_own(self, path: Path, rows: Sequence[Mapping[str, Any]]) -> None:
        """Take in a file this process has just written, from its rows instead of from the disk.

        `rows` are its events' columns that names are indexed by.
        """
        if len(rows) > _SMALL or path in self._files:
            return
        is_tiny = len(rows) < FEWEST_PACKED
        with self._lock:
            file = IndexedFile(path, 1, Names.of(rows), is_tiny=is_tiny)
            self._set = _file_set([*self._files.values(), file])
            self._met = max(self._met, _last_commit(path))

    def of_bikes(self, bikes: Iterable[str]) -> list[Row]:
        """Give the stored events of these tags, in seq order."""
        asked = frozenset(bikes)
        found: list[Row] = []
        unpacked: dict[Path, list[int]] = {}
        for file, groups in self._holding(asked):
            if file.is_tiny:
                found += [row[1:] for row in file.text() if row[0] in asked]
            elif (rows := self._packed(file, asked)) is not None:
                found += rows
            else:
                unpacked[file.path] = groups
        if unpacked:
            keep = pc.field("bike").isin(sorted(asked))
            found += self._rows(lambda file: unpacked.get(file.path, []), keep, ["bike"])
        return sorted(found)

    def counted(self, names: Iterable[str]) -> dict[str, tuple[int, int]]:
        """Give how many events great files hold, and the sum of their seq, by name."""
        great = [name for name in names if name in self._set.great]
        return self._segments.counted(great) if self._segments is not None else {}

    def pack(self, paths: Sequence[Path], tell: Tell, *, is_thorough: bool) -> None:
        """Make what packs are missing of a reading set; see `Packs.follow`."""
        if self.packs is not None:
            self.packs.follow(paths, tell, is_thorough=is_thorough)

    def _packed(self, file: IndexedFile, bikes: frozenset[str]) -> list[Row] | None:
        return None if self.packs is None else self.packs.rows(file.path, bikes)

    def _holding(self, bikes: frozenset[str]) -> Iterator[tuple[IndexedFile, list[int]]]:
        """Give the files that hold events of these bikes, each with its row groups that do."""
        for file in self._set.small:
            if file.names is not None and not file.names.bikes.isdisjoint(bikes):
                yield file, file.every_group
        held = self._segments.groups(bikes) if self._segments is not None else {}
        for name, groups in held.items():
            if (large := self._set.great.get(name)) is not None:
                yield large, groups

    def table_of_bikes(self, bikes: Iterable[str], columns: Sequence[str]) -> pa.Table:
        """Give hot columns of the stored events of these tags, in no promised order.

        A column that a file does not have yet comes as nulls.
        """
        asked = frozenset(bikes)
        keep = pc.field("bike").isin(sorted(asked))
        schema = pa.schema([EVENT_SCHEMA.field(name) for name in columns])
        needed, tables = list(dict.fromkeys([*columns, "bike"])), [schema.empty_table()]
        has_text = "canonical" in needed
        for file, groups in self._holding(asked):
            with file.opened() as parquet:
                if has_text:
                    table = read_stored(parquet, needed, groups, keep)
                else:
                    table = parquet.read_row_groups(groups, columns=needed, use_threads=False)
                    table = table.filter(keep)
            tables.append(as_declared(table, schema))
        return pa.concat_tables(tables)

    def of_the_book(self) -> list[Row]:
        """Give the stored events that name no bike, in seq order."""

        def where(file: IndexedFile) -> list[int]:
            return file.every_group if file.names and None in file.names.bikes else []

        small = self._rows(where, pc.field("bike").is_null(), ["bike"])
        large = self._large()
        return sorted([*small, *(self._segments.own(large) if self._segments else ())])

    def _large(self) -> list[str]:
        return list(self._set.great)

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
        if not parts and not jobs and not actors:
            return []

        def may_name(file: IndexedFile) -> list[int]:
            if (names := file.names) is None:
                named = self._named(file)
                clocks = named.with_clocks(since) if actors else []
                return sorted({*named.naming(parts | jobs), *clocks})
            if names.parts.isdisjoint(parts) and names.jobs.isdisjoint(jobs):
                return [] if names.actors.isdisjoint(actors) else file.every_group
            return file.every_group

        if not any(map(may_name, self._files.values())):
            return []
        asked = []
        if parts:
            named = pc.field("part").isin(sorted(parts)) | pc.field("replaces").isin(sorted(parts))
            asked.append(pc.field("kind").isin(MOVES) & named)
        if jobs:
            openings = pc.field("kind") == "job_opened"
            asked.append(openings & pc.field("job").isin(sorted(jobs)))
        if actors:
            clock = pc.field("kind").isin(CLOCKS)
            recent = pc.field("occurred_at") >= pa.scalar(since, pa.timestamp("us", "UTC"))
            asked.append(clock & recent & pc.field("actor").isin(sorted(actors)))
        return self._rows(may_name, reduce(operator.or_, asked), _NAMING)

    def strikes_of(self, ids: frozenset[bytes]) -> list[Row]:
        """Give the strikes of these events."""
        if not ids:
            return []
        struck = pc.field("kind") == "event_struck"
        targets = pa.array(sorted(ids), pa.binary(16))

        def may_strike(file: IndexedFile) -> list[int]:
            if file.names is None:
                return self._named(file).naming(ids)
            return [] if file.names.struck.isdisjoint(ids) else file.every_group

        keep = struck & pc.field("target_id").isin(targets)
        return self._rows(may_strike, keep, ["kind", "target_id"])

    def _named(self, file: IndexedFile) -> Named:
        """Give what a large file names, read through once."""
        with self._lock:
            if file.named is None:
                with file.opened() as parquet:
                    file.named = named_in(parquet)
            return file.named

    def _rows(
        self, pick: Callable[[IndexedFile], list[int]], keep: pc.Expression, by: Iterable[str]
    ) -> list[Row]:
        found: list[Row] = []
        for file in self._files.values():
            groups = pick(file)
            if not groups:
                continue
            with file.opened() as parquet:
                table = read_stored(parquet, by, groups, keep)
            found.extend(zip(*(table[name].to_pylist() for name in STORED), strict=True))
        return sorted(found)

    def with_ids(self, ids: Iterable[bytes]) -> dict[bytes, Row]:
        """Give the stored event of each id that the book holds."""
        asked = list(ids)
        if not asked:
            return {}
        self._index_ids([int.from_bytes(one[:8]) for one in asked])
        tails = np.frombuffer(b"".join(asked), dtype=np.uint64)[1::2]
        hits = [one for one, hit in zip(asked, self._ids.which(tails), strict=True) if hit]
        return self._look_up(hits) if hits else {}

    def _index_ids(self, starts: Sequence[int]) -> None:
        """Take in the ids of the files that may hold one of these beginnings."""
        known = self._segments
        for path in self._files:
            if path in self._ids.of_file or (known and not known.may_hold(path.name, starts)):
                continue
            with opened(path) as file:
                self._ids.add(path, hashes(file.read(["id"])["id"]))

    def _look_up(self, ids: list[bytes]) -> dict[bytes, Row]:
        wanted = pa.array(ids, pa.binary(16))
        tails = np.frombuffer(b"".join(ids), dtype=np.uint64)[1::2]
        found: dict[bytes, Row] = {}
        for path in self._files:
            held = self._ids.of_file.get(path)
            if held is None or not np.isin(tails, held).any():
                continue
            with opened(path) as file:
                for group in range(file.metadata.num_row_groups):
                    mask = pc.is_in(file.read_row_group(group, ["id"])["id"], value_set=wanted)
                    if not pc.any(mask).as_py():
                        continue
                    table = read_stored(file, ["id"], [group], pc.field("id").isin(wanted))
                    for row in table.to_pylist():
                        found[row["id"]] = (row["seq"], row["commit"], row["canonical"])
        return found

    def in_order(self, after: int = 0) -> Iterator[Row]:
        """Give every stored event behind a seq, in seq order, a file at a time."""
        for path in sorted(self._files, key=lambda path: _first_commit(path.name)):
            with opened(path) as file:
                table = read_stored(file, keep=pc.field("seq") > after).sort_by("seq")
            for batch in table.to_batches(max_chunksize=10_000):
                yield from zip(*(column.to_pylist() for column in batch.columns), strict=True)

    def bikes(self) -> list[str]:
        """Give every tag that the book's events name, sorted."""
        files, known = self._set, self._bikes
        if known is None or known[0] is not files:
            known = self._bikes = files, self._every_bike()
        return list(known[1])

    def _every_bike(self) -> list[str]:
        held = self._segments.bikes(self._large()) if self._segments is not None else []
        small: set[str | None] = set()
        for file in self._files.values():
            small |= file.names.bikes if file.names is not None else frozenset()
        more = small.difference(held, (None,))
        # Sorting what is sorted already but for a few takes one pass.
        return sorted([*held, *(bike for bike in more if bike is not None)])


def _last_commit(path: Path) -> int:
    """Give the last commit of `c-<n>.parquet` or `s-<first>-<last>.parquet`."""
    return int(path.name.split(".")[0].split("-")[-1])


def _first_commit(name: str) -> int:
    """Give the first commit of `c-<n>.parquet` or `s-<first>-<last>.parquet`."""
    return int(name.split(".")[0].split("-")[1])
