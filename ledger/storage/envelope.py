"""The canonical bytes of an event in a segment: its payload there, its envelope in the columns.

What stands around the payload (RFC 8785: names sorted, nothing between them) is also said by
hot columns, each in one way only. A segment holds the payload alone, `{"data":{...}}`, and the
bytes that were hashed are put together again when they are read. Where that would not give the
very bytes, they stand there whole: whole ones begin with the actor, never with the payload.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.storage.footer import is_of_segment
from ledger.storage.schema import EVENT_SCHEMA

AROUND = (
    *("seq", "id", "kind", "schema_version", "shop", "bike", "job", "actor"),
    *("occurred_at", "recorded_at", "restores_id"),
)
"""The columns that say what stands around the payload."""
STORED = ("seq", "commit", "canonical")
_BEGIN = b'{"data":'
_HEX = np.frombuffer(b"0123456789abcdef", np.uint8)
_DASHES = (8, 13, 18, 23)
_DIGITS = np.array([place for place in range(36) if place not in _DASHES])


def read_stored(
    file: pq.ParquetFile, more: Iterable[str] = (), groups: Sequence[int] | None = None
) -> pa.Table:
    """Give seq, commit and canonical bytes of a file's events, in the order they stand.

    Beside them what more columns are asked, and of some row groups alone if any are named.
    """
    names = list(dict.fromkeys([*STORED, *more]))
    is_apart = is_of_segment(file.metadata.metadata or {})
    needed = list(dict.fromkeys([*names, *AROUND])) if is_apart else names
    if groups is None:
        table = file.read(needed, use_threads=False)
    else:
        table = file.read_row_groups(list(groups), needed, use_threads=False)
    if any(table[name].null_count for name in STORED):
        raise pa.ArrowInvalid("an event of it lacks its seq, its commit or its canonical bytes")
    if not is_apart:
        return table
    there = frozenset(table.column_names)
    return whole(table).select([name for name in names if name in there])


def read_all(file: pq.ParquetFile) -> pa.Table:
    """Give every column of a file's events, with their canonical bytes."""
    return as_hashed(file, file.read(use_threads=False))


def as_hashed(file: pq.ParquetFile, table: pa.Table) -> pa.Table:
    """Give events of a file, read with AROUND and `canonical`, with their canonical bytes."""
    return whole(table) if is_of_segment(file.metadata.metadata or {}) else table


def whole(table: pa.Table) -> pa.Table:
    """Give events with the bytes that were hashed; `table` has AROUND and `canonical`.

    Where all stand whole, AROUND is not looked at. Raises ArrowInvalid where a column is missing.
    """
    if not pc.any(pc.starts_with(table["canonical"], _BEGIN)).as_py():
        return table
    there = frozenset(table.column_names)
    if missing := [name for name in AROUND if name not in there]:
        raise pa.ArrowInvalid(f"it has no column {missing[0]!r}, which its events need")
    return _with_texts(table, map(_whole, table.select([*AROUND, "canonical"]).to_batches()))


def apart(table: pa.Table) -> pa.Table:
    """Give events with their payloads alone, where the rest can be put together again.

    Beside them the sums of their canonical bytes: a root tells that one of a commit's events was
    changed, and a sum which.
    """
    sums = pa.array(map(sum_of, table["canonical"].to_pylist()), pa.binary(2))
    summed = _with(table, "canonical_sum", pa.chunked_array([sums]))
    return _with_texts(summed, map(_apart, table.select([*AROUND, "canonical"]).to_batches()))


def sum_of(text: bytes) -> bytes:
    """Give the first two bytes of a text's CRC-32."""
    return (zlib.crc32(text) >> 16).to_bytes(2, "big")


def _with_texts(table: pa.Table, texts: Iterable[pa.Array]) -> pa.Table:
    return _with(table, "canonical", pa.chunked_array(list(texts), pa.binary()))


def _with(table: pa.Table, name: str, column: pa.ChunkedArray) -> pa.Table:
    return table.set_column(table.schema.get_field_index(name), EVENT_SCHEMA.field(name), column)


def _whole(batch: pa.RecordBatch) -> pa.Array:
    texts = batch["canonical"]
    is_payload = pc.starts_with(texts, _BEGIN)
    before, after = _around(batch)
    payload = pc.binary_slice(texts, 1, -1)
    return pc.if_else(is_payload, _joined(before, payload, after), texts)


def _apart(batch: pa.RecordBatch) -> pa.Array:
    columns = (column.to_pylist() for column in (batch["canonical"], *_around(batch)))
    return pa.array([_payload(*row) for row in zip(*columns, strict=True)], pa.binary())


def _payload(text: bytes, before: bytes, after: bytes) -> bytes:
    payload = b"{" + text[len(before) : len(text) - len(after)] + b"}"
    is_apart = payload.startswith(_BEGIN) and before + payload[1:-1] + after == text
    return payload if is_apart else text


def _around(batch: pa.RecordBatch) -> tuple[pa.Array, pa.Array]:
    """Give what stands before each payload, and what stands after it."""
    before = _joined(b'{"actor":"', batch["actor"], b'"', _member("bike", batch["bike"]), b",")
    after = _joined(
        *(b',"id":"', _uuids(batch["id"]), b'"', _member("job", batch["job"])),
        *(b',"kind":"', batch["kind"]),
        *(b'","occurred_at":"', _instants(batch["occurred_at"])),
        *(b'","recorded_at":"', _instants(batch["recorded_at"]), b'"'),
        _member("restores", _uuids(batch["restores_id"])),
        *(b',"schema_version":', _numbers(batch["schema_version"])),
        *(b',"seq":', _numbers(batch["seq"]), b',"shop":"', batch["shop"], b'"}'),
    )
    return before, after


def _joined(*parts: bytes | pa.Array) -> pa.Array:
    """Give texts one after another; what is null, which no writer of ours wrote, is left out."""
    texts = (pa.scalar(one, pa.binary()) if isinstance(one, bytes) else one for one in parts)
    columns = [one.cast(pa.binary()) for one in texts]
    return pc.binary_join_element_wise(*columns, b"", null_handling="replace")


def _member(name: str, values: pa.Array) -> pa.Array:
    """Give a member that some events do not have."""
    member = _joined(f',"{name}":"'.encode(), values, b'"')
    return pc.if_else(values.is_valid(), member, b"")


def _numbers(values: pa.Array) -> pa.Array:
    return values.cast(pa.string())


def _instants(values: pa.Array) -> pa.Array:
    """Give instants as events write them: in UTC, to the microsecond."""
    plain = values.cast(pa.timestamp("us", "UTC")).cast(pa.timestamp("us")).cast(pa.string())
    return _joined(pc.binary_replace_slice(plain.cast(pa.binary()), 10, 11, b"T"), b"Z")


def _uuids(values: pa.Array) -> pa.Array:
    """Give ids of sixteen bytes as they are written (RFC 9562)."""
    count = len(values)
    filled = pc.fill_null(values.cast(pa.binary()), bytes(16)) if values.null_count else values
    _, *_, held = filled.cast(pa.binary(16)).buffers()
    first = 16 * filled.offset
    raw = np.frombuffer(held, np.uint8, 16 * count, first) if count else np.empty(0, np.uint8)
    digits = np.stack([_HEX[raw >> 4], _HEX[raw & 15]], axis=-1).reshape(count, 32)
    written = np.full((count, 36), ord("-"), np.uint8)
    written[:, _DIGITS] = digits
    made = pa.Array.from_buffers(
        pa.binary(36), count, [None, pa.py_buffer(written.tobytes())]
    ).cast(pa.binary())
    return pc.if_else(values.is_valid(), made, None) if values.null_count else made
