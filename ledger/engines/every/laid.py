"""Live events of a great book laid on the disk by ranges of tags, and folded a range at a time.

Every file is read once; what is in memory is a few files' events, and then one range's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.engines.every.pieces import PARTS, TEXT, declared
from ledger.storage.schema import EVENT_SCHEMA

ROWS_LAID_AT_ONCE = 1_000_000
COUNTED = pa.schema([("bike", pa.string()), ("events_used", pa.int64())])
COUNTS = "counts"
"""What stands beside the parts: how many live events each bike has."""
_OPTIONS = pa.ipc.IpcWriteOptions(compression="lz4")
Split = tuple[Mapping[str, pa.Table], pa.Table]


@dataclass(frozen=True)
class Laid:
    """What lies in a folder, by range."""

    folder: Path
    starts: Sequence[str]
    """The first tag of each range; the first range begins before all tags."""

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
        return table if name == COUNTS else _encoded(table)


def place_of(folder: Path, number: int, name: str) -> Path:
    """Give where a part of a range lies."""
    return folder / f"{number}-{name}.arrow"


def lay(splits: Iterable[Split], starts: Sequence[str], folder: Path) -> Laid:
    """Lay parts and counts in an empty folder, each row with the range that its bike is in."""
    with ExitStack() as held:
        writers: dict[tuple[int, str], pa.ipc.RecordBatchStreamWriter] = {}
        for splits_of_some in _some(splits):
            for name, table in splits_of_some.items():
                for number, rows in _apart(table, starts):
                    if (number, name) not in writers:
                        writers[number, name] = _opened(held, folder, number, name, table.schema)
                    writers[number, name].write_table(rows)
        schemas = {name: table.schema for name, table in _none().items()}
        for number in range(len(starts)):
            for name, schema in schemas.items():
                if (number, name) not in writers:
                    _opened(held, folder, number, name, schema)
    return Laid(folder, starts)


def _opened(
    held: ExitStack, folder: Path, number: int, name: str, schema: pa.Schema
) -> pa.ipc.RecordBatchStreamWriter:
    file = held.enter_context(pa.OSFile(str(place_of(folder, number, name)), "wb"))
    return held.enter_context(pa.ipc.new_stream(file, schema, options=_OPTIONS))


def _some(splits: Iterable[Split]) -> Iterator[dict[str, pa.Table]]:
    """Give parts and counts of several splits at once, texts as they are."""
    waiting: dict[str, list[pa.Table]] = {}
    rows = 0
    for parts, counts in splits:
        for name, table in {**parts, COUNTS: counts}.items():
            waiting.setdefault(name, []).append(_plain(table))
            rows += len(table)
        if rows >= ROWS_LAID_AT_ONCE:
            yield {name: pa.concat_tables(some) for name, some in waiting.items()}
            waiting, rows = {}, 0
    if waiting:
        yield {name: pa.concat_tables(some) for name, some in waiting.items()}


def _none() -> dict[str, pa.Table]:
    """Give what is laid of no events."""
    empty = declared(EVENT_SCHEMA.empty_table())
    parts = {name: _plain(empty.select(list(part.columns))) for name, part in PARTS.items()}
    return {**parts, COUNTS: COUNTED.empty_table()}


def _apart(table: pa.Table, starts: Sequence[str]) -> Iterator[tuple[int, pa.Table]]:
    """Give a table's rows by the range that each one's bike is in."""
    bikes = table["bike"].combine_chunks().dictionary_encode()
    firsts = np.array(starts, dtype=object)
    tags = bikes.dictionary.to_pylist()
    of_tag = np.searchsorted(firsts, np.array(tags, dtype=object), side="right") - 1
    ranges = of_tag[bikes.indices.to_numpy()] if len(tags) else np.array([], np.int64)
    order = np.argsort(ranges, kind="stable")
    ordered = table.take(pa.array(order))
    ends = np.searchsorted(ranges[order], np.arange(len(starts) + 1))
    for number in range(len(starts)):
        if ends[number] < ends[number + 1]:
            yield number, ordered.slice(ends[number], ends[number + 1] - ends[number])


def _plain(table: pa.Table) -> pa.Table:
    """Give texts as they are, not by code: each piece has codes of its own."""
    fields = [
        pa.field(field.name, pa.string() if pa.types.is_dictionary(field.type) else field.type)
        for field in table.schema
    ]
    return table.cast(pa.schema(fields))


def _encoded(table: pa.Table) -> pa.Table:
    """Give texts by code again."""
    columns = [
        pc.dictionary_encode(column).cast(TEXT) if column.type == pa.string() else column
        for column in table.columns
    ]
    return pa.table(columns, names=table.column_names)
