"""Every bike's events of a file, close together, so that one bike is read without its neighbours.

A pack lies beside a book, one for each file of more than a few commits. A row group of that file
holds some two hundred bikes, whose text is compressed as a whole: to read one bike takes as long
as to read them all. Nothing depends on a pack: one that is missing, of another file or damaged is
as if it were not there.
"""

from __future__ import annotations

import contextlib
import zlib
from bisect import bisect_left
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from threading import Lock

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.storage import aside
from ledger.storage.envelope import STORED, read_stored
from ledger.storage.segments import sha256_of

FEWEST_EVENTS = 1_000
"""A smaller file is read whole, and held."""
FOLDER = "bikes"
SCHEMA = pa.schema(
    [
        ("bike", pa.string()),
        ("size", pa.int32()),
        ("sum", pa.int64()),
        ("events", pa.binary()),
    ]
)
"""A row for each bike, sorted: its events as lines of `seq commit canonical`, compressed, with
their size before that and the CRC-32 of tag and lines."""
_FORM = "1"

_CODEC = pa.Codec("zstd", compression_level=3)
_OPEN_AT_ONCE = 512
_MOST_BYTES = 256 * 1024 * 1024
"""A bike of more is not packed, and a size above it is a damaged one."""

Row = tuple[int, int, bytes]
Tell = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class _Pack:
    """Where each bike's events lie in a pack: what is held of it; the events stay on the disk."""

    place: Path
    bikes: pa.StringArray
    """Sorted."""
    sizes: pa.Int32Array
    sums: pa.Int64Array
    starts: npt.NDArray[np.int64]
    """Where each bike's bytes begin in the file, and where the last one's end."""

    @classmethod
    def of(cls, place: Path, table: pa.Table, address: int) -> _Pack | None:
        """Take a table that is read in place, its file's first byte at an address.

        Nothing of the file is held: a copy over it while it is known does no harm.
        """
        columns = [column.chunk(0) if len(table) else pa.array([], column.type)
                   for column in table.columns]  # fmt: skip
        if any(column.null_count or column.offset for column in columns):
            return None
        bikes, sizes, sums, events = columns
        _, offsets, held = events.buffers()
        ends = np.zeros(1, np.int64)
        if offsets is not None and len(events):
            ends = np.frombuffer(offsets, np.int32, len(events) + 1).astype(np.int64)
        begins = held.address - address if held else 0
        return cls(place, _copied(bikes), _copied(sizes), _copied(sums), begins + ends)

    def rows(self, bike: str) -> list[Row] | None:
        """Give a bike's rows; None where they are not sound."""
        bikes = self.bikes
        at = bisect_left(range(len(bikes)), bike, key=lambda place: bikes[place].as_py())
        if at == len(bikes) or bikes[at].as_py() != bike:
            return None
        size, (start, end) = self.sizes[at].as_py(), self.starts[at : at + 2].tolist()
        if not 0 < size <= _MOST_BYTES:
            return None
        try:
            with self.place.open("rb") as file:
                file.seek(start)
                packed = file.read(end - start)
            lines = _CODEC.decompress(packed, size, asbytes=True)
        except (pa.ArrowException, OSError, ValueError):
            return None
        return list(_split(lines)) if _sum(bike, lines) == self.sums[at].as_py() else None


def _copied(column: pa.Array) -> pa.Array:
    """Give a column without nulls in memory of its own."""
    buffers = [part and pa.py_buffer(part.to_pybytes()) for part in column.buffers()]
    return pa.Array.from_buffers(column.type, len(column), buffers)


class Packs:
    """The packs in one folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._open: OrderedDict[str, _Pack | None] = OrderedDict()
        self._lock = Lock()

    def rows(self, path: Path, bikes: Iterable[str]) -> list[Row] | None:
        """Give (seq, commit, canonical bytes) of these bikes in a file; None without a pack of it.

        In no promised order.
        """
        pack = self._pack(path)
        if pack is None:
            return None
        found: list[Row] = []
        for bike in bikes:
            rows = pack.rows(bike)
            if rows is None:
                return None
            found += rows
        return found

    def _pack(self, path: Path) -> _Pack | None:
        with self._lock:
            if path.name in self._open:
                self._open.move_to_end(path.name)
                return self._open[path.name]
        pack = self._sound(path)
        with self._lock:
            self._open[path.name] = pack
            while len(self._open) > _OPEN_AT_ONCE:
                self._open.popitem(last=False)
        return pack

    def _sound(self, path: Path) -> _Pack | None:
        place = self._place(path)
        table, address = aside.read_unsummed(place) or (None, 0)
        if table is None or not table.schema.remove_metadata().equals(SCHEMA):
            return None
        try:
            table.validate(full=True)  # else a turned bit could lead outside of the file
        except pa.ArrowException:
            return None
        told = table.schema.metadata or {}
        if told.get(b"form") != _FORM.encode() or table.column("bike").num_chunks > 1:
            return None
        carried = sha256_of(path)
        if not carried or told.get(b"sha256") != carried.encode():
            return None
        return _Pack.of(place, table, address)

    def _place(self, path: Path) -> Path:
        return self._folder / f"{path.stem}.arrow"

    def follow(
        self,
        paths: Sequence[Path],
        tell: Tell = lambda done, total: None,
        *,
        is_thorough: bool = True,
    ) -> None:
        """Make those of a reading set that are missing, and take away those of other files.

        `tell` is told how many were made, and how many were missing. Where the folder cannot be
        written, or is full, nothing is made. `is_thorough` looks into those that are there.
        """
        missing = self.missing(paths, is_thorough=is_thorough)
        for done, path in enumerate(missing):
            tell(done, len(missing))
            if not self.make(path):
                return
        self.clear(paths)

    def missing(self, paths: Sequence[Path], *, is_thorough: bool = True) -> list[Path]:
        """Give those of the files of a reading set that should have a pack and have none.

        With `is_thorough`, also those whose pack is not sound.
        """

        def has_one(path: Path) -> bool:
            return self._pack(path) is not None if is_thorough else self._place(path).exists()

        return [
            path
            for path in paths
            if not has_one(path) and pq.read_metadata(path).num_rows >= FEWEST_EVENTS
        ]

    def make(self, path: Path) -> bool:
        """Make the pack of a file; says whether it lies there now."""
        told = {"form": _FORM, "sha256": sha256_of(path) or ""}
        is_written = aside.write(self._place(path), _packed(path), told)
        with self._lock:
            self._open.pop(path.name, None)
        return is_written

    def clear(self, paths: Iterable[Path]) -> None:
        """Take away every pack of a file that is not among these."""
        kept = {self._place(path).name for path in paths}
        with contextlib.suppress(OSError):
            for there in self._folder.iterdir():
                if there.suffix == ".arrow" and there.name not in kept:
                    there.unlink()


def _packed(path: Path) -> pa.Table:
    with pq.ParquetFile(path) as file:
        table = read_stored(file, ["bike"])
    table = table.filter(pc.is_valid(table["bike"])).sort_by(
        [("bike", "ascending"), ("seq", "ascending")]
    )
    bikes = table["bike"].combine_chunks().dictionary_encode()
    places = np.asarray(bikes.indices)
    starts = np.flatnonzero(np.diff(places, prepend=-1)).tolist()
    rows = list(zip(*(table[name].to_pylist() for name in STORED), strict=True))
    spans = zip(bikes.dictionary.to_pylist(), starts, [*starts[1:], len(rows)], strict=True)
    lines = ((bike, _lines(rows[start:end])) for bike, start, end in spans)
    packed = [
        (bike, len(one), _sum(bike, one), _CODEC.compress(one, asbytes=True))
        for bike, one in lines
        if len(one) <= _MOST_BYTES
    ]
    columns = zip(*packed, strict=True) if packed else ([] for _ in SCHEMA)
    return pa.table(list(map(pa.array, columns, SCHEMA.types)), schema=SCHEMA)


def _lines(rows: Iterable[Row]) -> bytes:
    return b"\n".join(b"%d %d %s" % row for row in rows)


def _sum(bike: str, lines: bytes) -> int:
    return zlib.crc32(lines, zlib.crc32(bike.encode()))


def _split(lines: bytes) -> Iterator[Row]:
    for line in lines.split(b"\n"):
        seq, commit, canonical = line.split(b" ", 2)
        yield int(seq), int(commit), canonical
