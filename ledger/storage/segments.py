"""Which bikes stand in which row group of a book's great files, and what they hold of no bike.

It lies beside a great book: to read the footers of hundreds of files takes longer than to read a
bike. A file is known again by the hash it carries of itself.
"""

from __future__ import annotations

import json
import os
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.storage import aside
from ledger.storage.envelope import STORED, read_stored
from ledger.storage.footer import hash_carried
from ledger.storage.ids import beginnings

FEWEST_EVENTS = 500_000
"""Below this it is made anew in less time than somebody notices."""
NAME = "segments.arrow"
SCHEMA = pa.schema(
    [
        ("file", pa.int32()),
        ("group", pa.int32()),
        ("bike", pa.string()),
        ("seq", pa.int64()),
        ("commit", pa.int64()),
        ("canonical", pa.binary()),
    ]
)
"""A row for each bike of a row group, and one for each event of no bike, with that event."""
_FORM = "3"
_END_SIZE = 4096


@dataclass(frozen=True, slots=True)
class Segment:
    """One great file, as far as it is known without opening it."""

    name: str
    sha256: str
    """The hash it carries of itself."""
    count_events: int
    sum_seqs: int
    count_groups: int
    ids: tuple[int, int]
    """The least and the greatest beginning of its ids; see `beginnings`."""


@dataclass(frozen=True)
class Segments:
    """The great files of a book, and where each bike stands in them."""

    files: tuple[Segment, ...] = ()
    rows: pa.Table = field(default_factory=SCHEMA.empty_table)
    """Of SCHEMA, sorted by bike, none last; `file` is the place among `files`."""

    @cached_property
    def _places(self) -> dict[str, int]:
        return {segment.name: place for place, segment in enumerate(self.files)}

    def named(self, path: Path) -> Segment | None:
        """Give what is known of a file; None where it is another file of that name, or new."""
        place = self._places.get(path.name)
        known = None if place is None else self.files[place]
        return known if known and sha256_of(path) == known.sha256 else None

    @cached_property
    def _of_bikes(self) -> tuple[pa.Array, pa.Array, pa.Array]:
        """Bike, file and group of the rows that have a bike."""
        rows = self.rows.slice(0, len(self.rows) - self.rows["bike"].null_count)
        bikes, files, groups = (_one_chunk(rows[name]) for name in ("bike", "file", "group"))
        return bikes, files, groups

    def groups(self, bikes: Iterable[str]) -> dict[str, list[int]]:
        """Give the row groups that hold events of these bikes, by the name of the file."""
        names, files, groups = self._of_bikes
        found: dict[str, set[int]] = {}
        for bike in bikes:
            at = bisect_left(range(len(names)), bike, key=lambda place: names[place].as_py())
            while at < len(names) and names[at].as_py() == bike:
                name = self.files[files[at].as_py()].name
                found.setdefault(name, set()).add(groups[at].as_py())
                at += 1
        return {name: sorted(held) for name, held in found.items()}

    def counted(self, names: Iterable[str]) -> dict[str, tuple[int, int]]:
        """Give how many events files hold, and the sum of their seq; of those that are here."""
        places = [self._places[name] for name in names if name in self._places]
        known = (self.files[place] for place in places)
        return {one.name: (one.count_events, one.sum_seqs) for one in known}

    def may_hold(self, name: str, starts: Iterable[int]) -> bool:
        """Tell whether a file may hold an id of one of these beginnings; True if it is not here."""
        place = self._places.get(name)
        if place is None:
            return True
        least, greatest = self.files[place].ids
        return any(least <= start <= greatest for start in starts)

    def own(self, names: Iterable[str]) -> Iterator[tuple[int, int, bytes]]:
        """Give (seq, commit, canonical bytes) of the events of no bike in these files."""
        places = pa.array([self._places[name] for name in names], pa.int32())
        held = self.rows.slice(len(self.rows) - self.rows["bike"].null_count)
        held = held.filter(pc.is_in(held["file"], value_set=places))
        yield from zip(*(held[name].to_pylist() for name in STORED), strict=True)

    def bikes(self, names: Iterable[str]) -> list[str]:
        """Give every bike of these files, sorted."""
        bikes, files, _ = self._of_bikes
        places = sorted({self._places[name] for name in names})
        if len(places) < len(self.files):
            bikes = bikes.filter(pc.is_in(files, value_set=pa.array(places, pa.int32())))
        found: list[str] = pc.unique(bikes).to_pylist()
        return found

    def only(self, names: Iterable[str]) -> Segments:
        """Give what is known of these files alone."""
        kept = sorted(self._places[name] for name in set(names) & self._places.keys())
        if len(kept) == len(self.files):
            return self
        place = pc.index_in(self.rows["file"], value_set=pa.array(kept, pa.int32()))
        rows = self.rows.set_column(0, SCHEMA.field("file"), place).filter(pc.is_valid(place))
        return Segments(tuple(self.files[one] for one in kept), rows)

    def joined(self, others: Sequence[Segments]) -> Segments:
        """Give these with others that hold no file of theirs."""
        files, tables = list(self.files), [self.rows]
        for other in others:
            place = pc.add(other.rows["file"], pa.scalar(len(files), pa.int32()))
            tables.append(other.rows.set_column(0, SCHEMA.field("file"), place))
            files += other.files
        return Segments(tuple(files), _sorted(pa.concat_tables(tables)))


def of_file(path: Path, file: pq.ParquetFile) -> Segments:
    """Give what an open file holds, as the only one."""
    tables = [_of_group(file, number) for number in range(file.metadata.num_row_groups)]
    columns = file.read(["seq", "id"], use_threads=False)
    seqs, ids = pc.sum(columns["seq"]).as_py() or 0, beginnings(columns["id"])
    ends = (int(ids.min()), int(ids.max())) if len(ids) else (1, 0)
    count = file.metadata.num_rows
    known = Segment(path.name, sha256_of(path) or "", count, seqs, len(tables), ends)
    return Segments((known,), _sorted(pa.concat_tables([SCHEMA.empty_table(), *tables])))


def _sorted(rows: pa.Table) -> pa.Table:
    return rows.sort_by("bike").combine_chunks()


def _one_chunk(column: pa.ChunkedArray) -> pa.Array:
    return column.chunk(0) if column.num_chunks == 1 else column.combine_chunks()


def _of_group(file: pq.ParquetFile, number: int) -> pa.Table:
    def read(columns: list[str]) -> pa.Table:
        return file.read_row_group(number, columns=columns, use_threads=False)

    bikes = read(["bike"])["bike"]
    columns: dict[str, pa.Array | pa.ChunkedArray] = {"bike": pc.unique(bikes).drop_null()}
    if bikes.null_count:
        own = read_stored(file, ["bike"], [number], pc.field("bike").is_null())
        count = len(columns["bike"])
        columns["bike"] = pa.concat_arrays([columns["bike"], pa.nulls(len(own), pa.string())])
        for name in STORED:
            empty = pa.nulls(count, SCHEMA.field(name).type)
            columns[name] = pa.chunked_array([empty, *own[name].chunks])
    rows = len(columns["bike"])
    columns |= {"file": pa.array([0] * rows), "group": pa.array([number] * rows)}
    nulls = {name: pa.nulls(rows) for name in STORED}
    return pa.table({name: {**nulls, **columns}[name] for name in SCHEMA.names}).cast(SCHEMA)


def read(folder: Path) -> Segments:
    """Give what lies in a folder; nothing where there is none, or none that can be read."""
    table = aside.read(folder / NAME)
    if table is None or not table.schema.remove_metadata().equals(SCHEMA):
        return Segments()
    told = table.schema.metadata or {}
    try:
        if told[b"form"].decode() != _FORM:
            return Segments()
        files = tuple(_told(one) for one in json.loads(told[b"files"]))
    except (KeyError, TypeError, ValueError):
        return Segments()
    return Segments(files, table.replace_schema_metadata(None))


def _told(one: dict[str, Any]) -> Segment:
    return Segment(**{**one, "ids": tuple(one["ids"])})


def write(folder: Path, known: Segments) -> None:
    """Lay it in a folder, where the book is great enough and the folder can be written."""
    if sum(segment.count_events for segment in known.files) >= FEWEST_EVENTS:
        files = json.dumps([asdict(segment) for segment in known.files])
        aside.write(folder / NAME, known.rows, {"form": _FORM, "files": files})


def sha256_of(path: Path) -> str | None:
    """Give the hash a file carries of itself; None where it carries none, or is not there."""
    try:
        with path.open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(size - _END_SIZE, 0))
            return hash_carried(file.read())
    except FileNotFoundError:
        return None
