"""The same events in indexed SQLite, one file: the hot columns, the lines and the texts."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.book import Book
from ledger.storage.envelope import read_stored

BYTES_AN_EVENT = 900
"""What its file takes at most, about: 715 were measured of a million events."""
_COLUMNS = (
    *("seq", "id", "kind", "bike", "job", "occurred_at", "position", "part", "quantity"),
    *("distance_km", "minutes", "minutes_kind", "target_id", "canonical"),
)
_SHAPE = f"""
pragma journal_mode = off;
pragma synchronous = off;
pragma cache_size = -400000;
create table events ({", ".join(_COLUMNS).replace("seq", "seq integer primary key", 1)});
create table lines (seq, bike, job, line_type, net);
"""
_INDEXES = """
create index of_bike on events (bike, occurred_at, seq);
create index moves on events (bike, position, occurred_at, seq, kind, part, id)
    where kind in ('part_fitted', 'part_removed');
create index jobs on events (kind, bike, job, occurred_at, id)
    where kind in ('job_opened', 'job_closed');
create index strikes on events (target_id) where kind = 'event_struck';
create index lines_of_job on lines (bike, job, seq, line_type, net);
analyze;
"""
EVERY = """
with struck as (select target_id from events where kind = 'event_struck'),
moved as (
    select bike, position, kind, part,
        row_number() over (partition by bike, position order by occurred_at desc, seq desc) as nth
    from events
    where kind in ('part_fitted', 'part_removed') and occurred_at <= :as_at
        and id not in (select target_id from struck)
)
select bike, position, part from moved where nth = 1 and kind = 'part_fitted'
"""
"""What is fitted on every bike as at an instant."""
USED = """
select bike, count(*) from events
where bike is not null and kind <> 'event_struck' and occurred_at <= :as_at
    and id not in (select target_id from events where kind = 'event_struck')
group by bike
"""
"""How many live events every bike has as at an instant."""


def build(book: Path, file: Path) -> None:
    """Write a book's events into a new SQLite file, and index them."""
    connection = sqlite3.connect(file)
    connection.executescript(_SHAPE)
    marks = ", ".join("?" for _ in _COLUMNS)
    for path in Book.open(book).files():
        with pq.ParquetFile(path) as written:
            table = read_stored(written, [*_COLUMNS, "lines"])
        with connection:
            connection.executemany(f"insert into events values ({marks})", _rows(table))
            connection.executemany("insert into lines values (?, ?, ?, ?, ?)", _lines(table))
    connection.executescript(_INDEXES)
    connection.close()


def _rows(table: pa.Table) -> Iterator[tuple[Any, ...]]:
    plain = table.set_column(
        table.schema.get_field_index("occurred_at"),
        "occurred_at",
        table["occurred_at"].cast(pa.int64()),
    )
    place = plain.schema.get_field_index("distance_km")
    plain = plain.set_column(place, "distance_km", plain["distance_km"].cast(pa.string()))
    return zip(*(plain[name].to_pylist() for name in _COLUMNS), strict=True)


def _lines(table: pa.Table) -> Iterator[tuple[Any, ...]]:
    """Give the lines that were charged."""
    closed = table.filter(pc.equal(table["kind"], "job_closed"))
    lines = closed["lines"].combine_chunks()
    rows = closed.take(pc.list_parent_indices(lines))
    inner = pc.list_flatten(lines)
    columns = [rows[name] for name in ("seq", "bike", "job")]
    columns += map(inner.field, ("line_type", "net"))
    return zip(*(column.to_pylist() for column in columns), strict=True)


def opened(file: Path) -> sqlite3.Connection:
    """Open such a file to read, with room for its pages in memory."""
    connection = sqlite3.connect(f"file:{file}?mode=ro", uri=True)
    connection.execute("pragma cache_size = -400000")
    connection.execute("pragma mmap_size = 30000000000")
    return connection
