"""A great book's events laid on the disk by ranges of bikes, to be looked at one after another.

What is kept says of each bike what its own events tell: made of a range at a time, in memory that
does not grow with the book, it is the same.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger import sql
from ledger.engines.every import firsts_of
from ledger.engines.every.columns import Numbers, tag_numbers, whole
from ledger.engines.every.laid import gathered
from ledger.engines.every.pieces import with_joined
from ledger.queries import engine_of
from ledger.storage import aside
from ledger.storage.schema import EVENT_SCHEMA, as_declared

if TYPE_CHECKING:
    from ledger.book import Book

MOST_AT_ONCE = 4_000_000
"""What is kept of a book of more events is made a range at a time."""
ROWS_AT_ONCE = 1_000_000
"""About so many events are in a range."""
_MOST_RANGES = 400
"""Each is a file while it is laid: a process may often open a thousand, and no more."""
_LAID_AT_ONCE = 1_000_000
_THREADS = 2
_OPTIONS = pa.ipc.IpcWriteOptions(compression="lz4")
_ALWAYS = frozenset({"seq", "id", "kind", "shop", "bike", "occurred_at", "target_id"})
Slice = tuple[int, pa.Table]
"""The number of a range, and events of it."""


@dataclass(frozen=True)
class LaidEvents:
    """The stored events of every bike, by range: joined tags under the first of them."""

    folder: Path
    count: int

    def __len__(self) -> int:
        return self.count

    def read(self, number: int) -> pa.Table:
        """Give the events of a range, and take them off the disk.

        Columns that no relation asks for are nulls, but `canonical`, which then is not there, and
        is null of kinds whose text none asks for.
        """
        path = _place(self.folder, number)
        with pa.OSFile(str(path)) as file, pa.ipc.open_stream(file) as stream:
            table = stream.read_all()
        path.unlink()
        names = [name for name in EVENT_SCHEMA.names if name != "canonical"]
        more = [name for name in table.column_names if name == "canonical"]
        return as_declared(table, _schema([*names, *more]))


class Pieces:
    """Tables laid on the disk one after another, and read again as often as somebody asks."""

    def __init__(self, folder: Path) -> None:
        """`folder` is not there yet."""
        self._folder = folder
        self._names: list[str] = []
        self._count = 0
        folder.mkdir()

    def add(self, piece: pa.Table) -> None:
        """Lay one."""
        self._names = piece.column_names
        with (
            pa.OSFile(str(_place(self._folder, self._count)), "wb") as file,
            pa.ipc.new_stream(file, piece.schema, options=_OPTIONS) as stream,
        ):
            stream.write_table(piece)
        self._count += 1

    def read(self, columns: Collection[str] | None = None) -> Iterator[pa.Table]:
        """Give them in turn, without those that are empty, but for the first.

        With `columns`, those alone: no others are taken into memory.
        """
        asked = None
        if columns is not None:
            asked = [place for place, name in enumerate(self._names) if name in columns]
        options = pa.ipc.IpcReadOptions(included_fields=asked)
        for number in range(self._count):
            path = _place(self._folder, number)
            with (
                pa.OSFile(str(path)) as file,
                pa.ipc.open_stream(file, options=options) as stream,
            ):
                piece = stream.read_all()
            if len(piece) or not number:
                yield piece

    def in_place(self) -> pa.Table:
        """Give all of them as one table, in a chunk each.

        A great one is read in place, also when the folder is gone.
        """
        path = self._folder / "whole"
        schema = next(self.read()).schema
        found = aside.read(path) if aside.write_pieces(path, schema, self.read(), {}) else None
        return pa.concat_tables(self.read()) if found is None else found.replace_schema_metadata()


def laid_events(book: Book, relations: Sequence[str], folder: Path) -> LaidEvents:
    """Lay all events of bikes in an empty folder, as far as these relations ask for them."""
    joined = {tag: min(tags) for tag, tags in book.aliases(book.head.size).items()}
    paths = engine_of(book).paths()
    starts = firsts_of(paths, joined, min(-(-book.head.size // ROWS_AT_ONCE), _MOST_RANGES))
    columns, kinds = columns_of(relations), kinds_of_documents(relations)
    firsts = tag_numbers(pa.array(starts[1:], pa.string()))
    apart = partial(_apart, columns=columns, kinds=kinds, joined=joined, starts=firsts)
    with ExitStack() as held, ThreadPoolExecutor(_THREADS) as pool:
        writers = [_opened(held, _place(folder, number), columns) for number in range(len(starts))]
        for some in gathered(_in_turn(pool, apart, paths), _LAID_AT_ONCE):
            for number, tables in some.items():
                writers[number].write_table(pa.concat_tables(tables).combine_chunks())
    return LaidEvents(folder, len(starts))


def columns_of(relations: Sequence[str]) -> list[str]:
    """Give the columns of events that what these relations use speaks of.

    That of all live events lists every column; it asks of them only what others do.
    """
    bodies = (sql.body(name) for name in sql.needed(*relations) if name != "live_events")
    words = _ALWAYS.union(*(re.findall(r"\w+", body) for body in bodies))
    return [name for name in EVENT_SCHEMA.names if name in words]


def kinds_of_documents(relations: Sequence[str]) -> frozenset[str] | None:
    """Give the kinds of event whose whole text these relations ask for; None for all kinds."""
    bodies = map(sql.body, sql.needed(*relations))
    kinds = [re.findall(r"\bevents\.kind = '(\w+)'", one) for one in bodies if "canonical" in one]
    return frozenset(kind for some in kinds for kind in some) if all(kinds) else None


def _place(folder: Path, number: int) -> Path:
    return folder / f"{number}.arrow"


def _opened(held: ExitStack, path: Path, columns: Sequence[str]) -> pa.ipc.RecordBatchStreamWriter:
    file = held.enter_context(pa.OSFile(str(path), "wb"))
    return held.enter_context(pa.ipc.new_stream(file, _schema(columns), options=_OPTIONS))


def _in_turn(
    pool: Executor, apart: Callable[[str], list[Slice]], paths: Iterable[str]
) -> Iterator[list[Slice]]:
    """Give what is made of each file, a few files ahead."""
    waiting: deque[Future[list[Slice]]] = deque()
    for path in paths:
        waiting.append(pool.submit(apart, path))
        if len(waiting) > _THREADS:
            yield waiting.popleft().result()
    while waiting:
        yield waiting.popleft().result()


def _apart(
    path: str,
    columns: Sequence[str],
    kinds: frozenset[str] | None,
    joined: Mapping[str, str],
    starts: Numbers,
) -> list[Slice]:
    """Give the events of a file that are of bikes, by range.

    `starts` are the first tags of all ranges but the first, as numbers.
    """
    with pq.ParquetFile(path) as file:
        there = frozenset(file.schema_arrow.names)
        found = file.read([name for name in columns if name in there], use_threads=False)
    events = as_declared(found, _schema(columns))
    if "canonical" in columns and kinds is not None:
        is_asked = pc.is_in(events["kind"], pa.array(sorted(kinds), pa.string()))
        texts = pc.if_else(is_asked, events["canonical"], None)
        place = events.schema.get_field_index("canonical")
        events = events.set_column(place, events.schema.field(place), texts)
    tags = whole(events["bike"]).dictionary_encode()
    renamed = with_joined(tags, joined)
    if renamed is not tags:
        place = events.schema.get_field_index("bike")
        events = events.set_column(place, events.schema.field(place), renamed.cast(pa.string()))
    ranges = np.searchsorted(starts, tag_numbers(renamed.dictionary), side="right")
    # what is of no bike comes last, and is left out
    of_row = np.append(ranges, len(starts) + 1)[tags.indices.fill_null(len(ranges)).to_numpy()]
    if (of_row[1:] < of_row[:-1]).any():
        order = np.argsort(of_row, kind="stable")
        of_row, events = of_row[order], events.take(pa.array(order))
    ends = np.searchsorted(of_row, np.arange(len(starts) + 2))
    return [
        (number, events.slice(ends[number], ends[number + 1] - ends[number]))
        for number in range(len(starts) + 1)
        if ends[number] < ends[number + 1]
    ]


def _schema(columns: Sequence[str]) -> pa.Schema:
    return pa.schema([EVENT_SCHEMA.field(name).with_nullable(True) for name in columns])
