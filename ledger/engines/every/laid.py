"""Live events of a great book laid on the disk by ranges of tags, and folded a range at a time.

Every file is read once; what is in memory is a few files' events, and then one range's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future
from contextlib import ExitStack
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from threading import Lock
from typing import TypeVar

import numpy as np
import pyarrow as pa

from ledger.engines.every.columns import Numbers, tag_numbers, whole
from ledger.engines.every.pieces import PARTS, TEXTS, Known, Piece, declared, parts_of
from ledger.storage.schema import EVENT_SCHEMA

ROWS_LAID_AT_ONCE = 2_000_000
COUNTED = pa.schema([("bike", pa.string()), ("events_used", pa.int64())])
COUNTS = "counts"
"""What stands beside the parts: how many live events each bike has."""
_PRESSED = frozenset({"figures"})
"""Parts that are pressed on their way to the disk, mostly nulls sixteen bytes wide: all others are
numbers, half as large pressed, and pressing them takes seven times as long as writing them.
"""
Place = TypeVar("Place")
Split = tuple[Mapping[str, pa.Table], pa.Table]
"""Parts and counts of a piece."""
Named = tuple[str, pa.Table]
"""The name of a part, and rows."""


_OWN = "rider"
"""The column of texts of which a book has very many: laid as they are, all others by number."""


class Numbered:
    """Texts by number, of each column by itself, as they are met: asked by many threads."""

    def __init__(self) -> None:
        self._numbers: dict[str, dict[str, int]] = {}
        self._lock = Lock()

    def numbers(self, name: str, texts: pa.Array) -> pa.Array:
        """Give the number of each of a column's texts."""
        values = texts.to_pylist()
        with self._lock:
            known = self._numbers.setdefault(name, {})
            return pa.array([known.setdefault(text, len(known)) for text in values], pa.int32())

    def column(self, name: str, numbers: pa.Array) -> pa.Array:
        """Give texts by their numbers again."""
        texts = pa.array(self._numbers.get(name, {}), pa.string())
        return pa.DictionaryArray.from_arrays(numbers, texts)


@dataclass(frozen=True)
class Laid:
    """What lies in a folder, by range."""

    folder: Path
    starts: Sequence[str]
    """The first tag of each range; the first range begins before all tags."""
    numbered: Numbered
    """The texts that are laid by number."""

    def __len__(self) -> int:
        return len(self.starts)

    def read(self, number: int) -> tuple[dict[str, pa.Table], pa.Table]:
        """Give the parts and the counts of a range, and take them off the disk."""
        found = {name: self._table(number, name) for name in (*PARTS, COUNTS)}
        return {name: found[name] for name in PARTS}, found[COUNTS]

    def _table(self, number: int, name: str) -> pa.Table:
        path = place_of(self.folder, number, name)
        with pa.OSFile(str(path)) as file, pa.ipc.open_stream(file) as stream:
            table = stream.read_all()
        path.unlink()
        return table if name == COUNTS else self._encoded(table)

    def _encoded(self, table: pa.Table) -> pa.Table:
        """Give texts by code again, each column in one piece: with one dictionary."""
        columns = []
        for name in table.column_names:
            column = whole(table[name])
            if name == _OWN:
                column = column.dictionary_encode()
            elif name in TEXTS and name != "bike":
                column = self.numbered.column(name, column)
            columns.append(column)
        return pa.table(columns, names=table.column_names)


def place_of(folder: Path, number: int, name: str) -> Path:
    """Give where a part of a range lies."""
    return folder / f"{number}-{name}.arrow"


def lay(
    pool: Executor,
    pieces: Iterable[Iterable[Named]],
    starts: Sequence[str],
    numbered: Numbered,
    folder: Path,
) -> Laid:
    """Lay in an empty folder, by these ranges, what `plain` gives of each piece.

    Rows of many files are parted by range at once: of one file there are few of each range.
    """
    firsts = tag_numbers(pa.array(starts[1:], pa.string()))  # the first begins before all tags
    with ExitStack() as held:
        writers: dict[tuple[int, str], pa.ipc.RecordBatchStreamWriter] = {}
        schemas = {name: table.schema for name, table in _none().items()}
        for number in range(len(starts)):
            for name, schema in schemas.items():
                writers[number, name] = _opened(held, folder, number, name, schema)

        def write(name: str, tables: Sequence[pa.Table]) -> None:
            for number, rows in by_range(pa.concat_tables(tables).combine_chunks(), firsts):
                writers[number, name].write_table(rows)

        writing: list[Future[None]] = []
        for some in gathered(pieces, ROWS_LAID_AT_ONCE):
            # Two at a time, but never two of one part.
            _wait(writing)
            writing = [pool.submit(write, name, tables) for name, tables in some.items()]
        _wait(writing)
    return Laid(folder, starts, numbered)


def _wait(writing: Iterable[Future[None]]) -> None:
    for one in writing:
        one.result()


def _opened(
    held: ExitStack, folder: Path, number: int, name: str, schema: pa.Schema
) -> pa.ipc.RecordBatchStreamWriter:
    file = held.enter_context(pa.OSFile(str(place_of(folder, number, name)), "wb"))
    options = pa.ipc.IpcWriteOptions(compression="lz4" if name in _PRESSED else None)
    return held.enter_context(pa.ipc.new_stream(file, schema, options=options))


def gathered(
    pieces: Iterable[Iterable[tuple[Place, pa.Table]]], most_rows: int
) -> Iterator[Mapping[Place, Sequence[pa.Table]]]:
    """Give the tables of many pieces together, by where they are laid, so many rows at a time."""
    waiting: dict[Place, list[pa.Table]] = {}
    rows = 0
    for piece in pieces:
        for place, table in piece:
            waiting.setdefault(place, []).append(table)
            rows += len(table)
        if rows >= most_rows:
            yield waiting
            waiting, rows = {}, 0
    yield waiting


def _none() -> dict[str, pa.Table]:
    """Give what is laid of no events."""
    nothing = Piece(declared(EVENT_SCHEMA.empty_table()), Known(0, 0))
    split = parts_of(nothing, np.zeros(0, bool))
    made = _Plain(Numbered())
    return {name: made.table(table) for name, table in split.items()} | {
        COUNTS: COUNTED.empty_table()
    }


class _Plain:
    """Makes the parts of one piece as they are laid: they name texts by the same dictionaries."""

    def __init__(self, numbered: Numbered) -> None:
        self._numbered = numbered
        self._numbers: dict[str, pa.Array] = {}

    def table(self, table: pa.Table) -> pa.Table:
        """Give own texts as they are, tags as the numbers they are, all others by number."""
        columns = []
        for name in table.column_names:
            column = table[name]
            if name == _OWN:
                column = column.cast(pa.string())
            elif name in TEXTS:
                column = whole(column)
                if name not in self._numbers:
                    self._numbers[name] = self._numbers_of(name, column.dictionary)
                column = self._numbers[name].take(column.indices)
            columns.append(column)
        return pa.table(columns, names=table.column_names)

    def _numbers_of(self, name: str, texts: pa.Array) -> pa.Array:
        is_of_tags = name == "bike"
        return pa.array(tag_numbers(texts)) if is_of_tags else self._numbered.numbers(name, texts)


def plain(split: Split, numbered: Numbered) -> Iterator[Named]:
    """Give a piece's parts and counts as they are laid, those that have rows."""
    parts, counts = split
    # All parts of a piece name texts by the same dictionaries, which `take` leaves as they are.
    made = _Plain(numbered)
    for name, table in parts.items():
        if len(table):
            yield name, made.table(table)
    if len(counts):
        yield COUNTS, counts


def by_range(table: pa.Table, firsts: Numbers) -> Iterator[tuple[int, pa.Table]]:
    """Give rows by the range that each one's bike is in; ranges without any are left out.

    `firsts` are the first tags of all ranges but the first, as numbers; tags are texts or numbers.
    """
    bikes = whole(table["bike"])
    tags = bikes.to_numpy() if pa.types.is_integer(bikes.type) else tag_numbers(bikes)
    ranges = np.searchsorted(firsts, tags, side="right").astype(np.int16)
    order = np.argsort(ranges, kind="stable")
    ordered = table.take(pa.array(order))
    ends = np.searchsorted(ranges[order], np.arange(len(firsts) + 2))
    for number, (start, end) in enumerate(pairwise(ends.tolist())):
        if start < end:
            yield number, ordered.slice(start, end - start)
