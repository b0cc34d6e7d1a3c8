"""Events into the bytes of one Parquet file, and back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

import pyarrow as pa
import pyarrow.parquet as pq

from ledger.events import Event, parse_event
from ledger.storage.envelope import STORED, apart, read_all, read_stored
from ledger.storage.footer import Footer, add_self_hash, not_whole, parse_footer
from ledger.storage.hot import hot_row, units_after
from ledger.storage.schema import EVENT_SCHEMA

ROWS_IN_GROUP = 10_000
"""Few enough that one bike's events are read without much else."""

LEVEL = 15
"""Of zstd, in segments."""

_FEW = 8
"""So many events are tabulated anew in less time than seventy columns of them are read."""
_ORDER = [("bike", "ascending"), ("occurred_at", "ascending"), ("seq", "ascending")]
_FIELDS = tuple((field.name, field.type) for field in EVENT_SCHEMA)
# A value that seldom comes again is pressed better as it stands than by number.
_SELDOM_TWICE = frozenset(
    (
        *("seq", "commit", "id", "canonical", "target_id", "restores_id"),
        *("occurred_at", "recorded_at", "job", "part", "distance_km"),
        *("lines.list.element.line_id", "lines.list.element.quote_line"),
        *("keeper", "payer", "replaces", "promised_at", "quote"),
    )
)
_VERSION = b'"schema_version":'


def _leaves() -> Iterator[str]:
    """Give every column as Parquet names it."""
    for field in EVENT_SCHEMA:
        if field.name == "lines":
            yield from (f"lines.list.element.{inner.name}" for inner in field.type.value_type)
        else:
            yield field.name


_OPTIONS: Mapping[str, Any] = {
    "store_schema": False,
    "store_decimal_as_integer": True,
    "version": "2.6",
}
# A dictionary or a compressor for each of fifty columns costs a commit more than its fsync, and
# what bounds each of them would be a quarter of its bytes: a file is passed over by three.
_COMMIT_OPTIONS = {
    **_OPTIONS,
    "compression": {"canonical": "zstd"},
    "use_dictionary": False,
    "write_statistics": ["bike", "occurred_at", "seq"],
}
_SEGMENT_OPTIONS = {
    **_OPTIONS,
    "compression": "zstd",
    "compression_level": LEVEL,
    "use_dictionary": [path for path in _leaves() if path not in _SELDOM_TWICE],
    "write_statistics": ["bike", "commit", "occurred_at", "recorded_at", "seq"],
    "bloom_filter_options": {"bike": {"ndv": 2_000, "fpp": 0.01}},
}


class Entry(NamedTuple):
    """One event on its way into a file."""

    commit: int
    event: Event
    canonical: bytes


class Stored(NamedTuple):
    """One event as a file holds it; `canonical` is what was hashed."""

    seq: int
    commit: int
    canonical: bytes


@lru_cache(maxsize=4096)
def _nulls(count: int, kind: pa.DataType) -> pa.Array:
    return pa.nulls(count, kind)


def tabulate(entries: Sequence[Entry], units: Mapping[str, str]) -> pa.RecordBatch:
    """Give the events as columns of EVENT_SCHEMA, in the order they come.

    `units` is each quantity's canonical unit; quantities that terms among the events add count
    from there on. Raises Refused where a figure has no place in its column.
    """
    rows = []
    for commit, event, canonical in entries:
        units = units_after(units, (event,))
        row = hot_row(event, commit, units)
        row["canonical"] = canonical
        row["schema_version"] = _stored_version(canonical)
        rows.append(row)
    used = frozenset().union(*rows)
    fields = [field for field in EVENT_SCHEMA if field.name in used]
    # one array of all columns is made in half the time of one array a column
    made = pa.array(rows, type=pa.struct(fields)).flatten()
    columns = {field.name: column for field, column in zip(fields, made, strict=True)}
    return pa.RecordBatch.from_arrays(
        [columns[name] if name in columns else _nulls(len(rows), kind) for name, kind in _FIELDS],
        schema=EVENT_SCHEMA,
    )


def _stored_version(canonical: bytes) -> int:
    """Give the version the event was stored in; read, it is always of the newest.

    In RFC 8785 order only seq and shop come after it.
    """
    start = canonical.rindex(_VERSION) + len(_VERSION)
    return int(canonical[start : canonical.index(b",", start)])


def encode(entries: Sequence[Entry], footer: Footer, units: Mapping[str, str]) -> bytes:
    """Give the bytes of a commit's file, its events in `seq` order."""
    batch = tabulate(entries, units)
    return _write(pa.Table.from_batches([batch]), footer, _COMMIT_OPTIONS)


def encode_segment(table: pa.Table, footer: Footer, *, level: int = LEVEL) -> bytes:
    """Give the bytes of a segment, its events sorted by bike, then time, then `seq`.

    `table` has the canonical bytes as they were hashed; see `storage.envelope`.
    """
    options = {**_SEGMENT_OPTIONS, "compression_level": level}
    ordered = table.sort_by(_ORDER)
    return _write(apart(ordered) if footer.is_of_segment else ordered, footer, options)


def _write(table: pa.Table, footer: Footer, options: Mapping[str, Any]) -> bytes:
    sink = pa.BufferOutputStream()
    with pq.ParquetWriter(sink, EVENT_SCHEMA, **options) as writer:
        writer.write_table(table, row_group_size=ROWS_IN_GROUP)
        writer.add_key_value_metadata(footer.to_metadata())
    return add_self_hash(sink.getvalue().to_pybytes())


def in_full(table: pa.Table, units: Mapping[str, str]) -> pa.Table:
    """Give a file's events, as `read_file` read them, as columns of EVENT_SCHEMA.

    Columns that came after the file was written are worked out of its events, and all of them
    where the events are few; `units` is each quantity's canonical unit.
    """
    if table.schema.equals(EVENT_SCHEMA):
        return table.replace_schema_metadata()
    there = frozenset(table.column_names)
    if there.issuperset(EVENT_SCHEMA.names):
        return table.select(EVENT_SCHEMA.names).cast(EVENT_SCHEMA)
    columns = (table[name].to_pylist() for name in ("commit", "canonical"))
    entries = [
        Entry(commit, parse_event(json.loads(canonical)), canonical)
        for commit, canonical in zip(*columns, strict=True)
    ]
    derived = tabulate(entries, units)
    if len(table) <= _FEW:
        return pa.Table.from_batches([derived])
    return pa.table(
        [
            table[name].cast(kind) if name in there else derived.column(name)
            for name, kind in _FIELDS
        ],
        schema=EVENT_SCHEMA,
    )


def read_events(content: bytes) -> Iterator[Stored]:
    """Give the events in a file's bytes, in `seq` order."""
    with pq.ParquetFile(pa.BufferReader(content)) as file:
        table = read_stored(file)
    yield from stored_in(table)


def read_file(content: bytes, name: str, *, is_in_full: bool = False) -> tuple[Footer, pa.Table]:
    """Give the footer of a file's bytes, and its events' seq, commit and canonical bytes.

    Every column of them with `is_in_full`, but of a few events alone (`in_full`). Raises
    BookDamaged, naming the file, where they cannot be read.
    """
    try:
        with pq.ParquetFile(pa.BufferReader(content)) as file:
            footer = parse_footer(file.metadata.metadata or {}, name)
            is_all = is_in_full and file.metadata.num_rows > _FEW
            table = read_all(file) if is_all else read_stored(file)
    except (pa.ArrowException, OSError, ValueError) as error:
        raise not_whole(name, error) from None
    return footer, table


def stored_in(table: pa.Table) -> Iterator[Stored]:
    """Give the events of a table that has seq, commit and canonical, in `seq` order."""
    for batch in table.select(STORED).sort_by("seq").to_batches(max_chunksize=ROWS_IN_GROUP):
        columns: Iterable[list[Any]] = (batch.column(name).to_pylist() for name in STORED)
        yield from map(Stored, *columns)
