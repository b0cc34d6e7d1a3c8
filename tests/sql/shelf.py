"""Events put into the columns a book's files have, for tests of the relations."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import pyarrow as pa
import pyarrow.parquet as pq

from ledger.engines.duckdb import Asked, DuckEngine
from ledger.engines.tables import position_effects
from ledger.events import Event, canonical_bytes
from ledger.storage.segment import Entry, tabulate
from ledger.vocabulary import standard

LATE = datetime(2030, 1, 1, tzinfo=UTC)
EVERYTHING = Asked(LATE, 1_000_000)
UNITS = {code: word.unit for code, word in standard().quantities.items()}


def columns_of(events: Sequence[Event]) -> pa.Table:
    """Give events as the table that a book's file would hold."""
    entries = [Entry(1, event, canonical_bytes(event)) for event in events]
    return pa.Table.from_batches([tabulate(entries, UNITS)])


def effects() -> pa.Table:
    """Give what work at each position of the standard vocabulary reaches."""
    return position_effects(standard())


def rows_of(
    relation: str, events: Sequence[Event], asked: Asked = EVERYTHING
) -> list[dict[str, Any]]:
    """Give the rows of one relation over events, by its keys."""
    tables = {"position_effects": effects()}
    engine = DuckEngine(lambda: [])
    found = engine.one_bike([relation], asked, columns_of(events), tables)[relation]
    engine.close()
    return [dict(row) for row in found]


def file_of(table: pa.Table, folder: Path, name: str = "s-1-1.parquet") -> Path:
    """Write a table as one Parquet file; gives its path."""
    path = folder / name
    pq.write_table(table, path)
    return path


def _shifted_ids(column: pa.ChunkedArray, number: int) -> pa.Array:
    """Give ids that tell copies of the same event apart."""
    return pa.array(
        [None if raw is None else shifted_id(raw, number) for raw in column.to_pylist()],
        pa.binary(16),
    )


def shifted_id(raw: bytes, number: int) -> bytes:
    """Give the id of the numbered copy of an event."""
    return number.to_bytes(4, "big") + raw[4:]


def plain_id(text: str) -> str:
    """Give the id an event has in the copy that is numbered 0."""
    return str(UUID(bytes=bytes(4) + UUID(text).bytes[4:]))


def shifted(table: pa.Table, shop: str, number: int, later: timedelta, further: int) -> pa.Table:
    """Give a copy of a whole book as another shop's, moved in time and in seq."""
    micros = pa.scalar(later, pa.duration("us"))
    changed = {
        "shop": pa.array([shop] * len(table), pa.string()),
        "seq": pa.array([seq + further for seq in table["seq"].to_pylist()], pa.int64()),
        "occurred_at": pa.compute.add(table["occurred_at"], micros),
        "id": _shifted_ids(table["id"], number),
        "target_id": _shifted_ids(table["target_id"], number),
    }
    for name, column in changed.items():
        table = table.set_column(
            table.schema.get_field_index(name), table.schema.field(name), column
        )
    return table


def dates_of(events: Iterable[Event]) -> list[datetime]:
    """Give every distinct time at which something occurred, and one before all of them."""
    occurred = sorted({event.occurred_at for event in events})
    return [occurred[0] - timedelta(hours=1), *occurred]
