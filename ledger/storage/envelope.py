"""The canonical bytes of an event in a segment: its payload there, its envelope in the columns.

What stands around the payload (RFC 8785: names sorted, nothing between them) is also said by
hot columns, each in one way only. A segment holds the payload alone, `{"data":{...}}`, and the
bytes that were hashed are put together again when they are read. Where that would not give the
very bytes, they stand there whole: whole ones begin with the actor, never with the payload.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
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
_PAIRS = np.frombuffer(bytes(range(256)).hex().encode(), np.uint16)
"""Each byte's two hexadecimal digits."""


def read_stored(
    file: pq.ParquetFile,
    more: Iterable[str] = (),
    groups: Sequence[int] | None = None,
    keep: pc.Expression | None = None,
) -> pa.Table:
    """Give seq, commit and canonical bytes of a file's events, in the order they stand.

    Beside them what more columns are asked; of some row groups alone if any are named, and of
    the events that an expression of those columns keeps.
    """
    names = list(dict.fromkeys([*STORED, *more]))
    is_apart = is_of_segment(file.metadata.metadata or {})
    needed = list(dict.fromkeys([*names, *AROUND])) if is_apart else names
    if groups is None:
        table = file.read(needed, use_threads=False)
    else:
        table = file.read_row_groups(list(groups), needed, use_threads=False)
    if keep is not None:
        table = table.filter(keep)
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
    made = _joined(*_before(batch), pc.binary_slice(texts, 1, -1), *_after(batch))
    return made if pc.all(is_payload).as_py() else pc.if_else(is_payload, made, texts)


def _apart(batch: pa.RecordBatch) -> pa.Array:
    around = (_joined(*_before(batch)), _joined(*_after(batch)))
    columns = (column.to_pylist() for column in (batch["canonical"], *around))
    return pa.array([_payload(*row) for row in zip(*columns, strict=True)], pa.binary())


def _payload(text: bytes, before: bytes, after: bytes) -> bytes:
    payload = b"{" + text[len(before) : len(text) - len(after)] + b"}"
    is_apart = payload.startswith(_BEGIN) and before + payload[1:-1] + after == text
    return payload if is_apart else text


_Part: TypeAlias = "bytes | pa.Array"


def _before(batch: pa.RecordBatch) -> Iterator[_Part]:
    """Give what stands before each payload, piece by piece."""
    yield from (b'{"actor":"', batch["actor"], b'"', _member("bike", batch["bike"]), b",")


def _after(batch: pa.RecordBatch) -> Iterator[_Part]:
    """Give what stands after each payload, piece by piece."""
    yield from (b',"id":"', _uuids(batch["id"]), b'"', _member("job", batch["job"]))
    yield from (b',"kind":"', batch["kind"])
    yield from (b'","occurred_at":"', _instants(batch["occurred_at"]))
    yield from (b'","recorded_at":"', _instants(batch["recorded_at"]), b'"')
    restores = batch["restores_id"]
    if restores.null_count < len(restores):
        yield _member("restores", _uuids(restores))
    yield from (b',"schema_version":', _numbers(batch["schema_version"]))
    yield from (b',"seq":', _numbers(batch["seq"]), b',"shop":"', batch["shop"], b'"}')


def _joined(*parts: _Part) -> pa.Array:
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
    plain = pc.fill_null(plain, "")
    _, _, held = plain.buffers()
    count = len(plain)
    lengths = pc.binary_length(plain)
    if not count or pc.min(lengths).as_py() != 26 or pc.max(lengths).as_py() != 26:
        return _joined(pc.binary_replace_slice(plain.cast(pa.binary()), 10, 11, b"T"), b"Z")
    first = 26 * plain.offset
    written = np.full((count, 27), ord("Z"), np.uint8)
    written[:, :26] = np.frombuffer(held, np.uint8, 26 * count, first).reshape(count, 26)
    written[:, 10] = ord("T")
    return _fixed(written)


def _uuids(values: pa.Array) -> pa.Array:
    """Give ids of sixteen bytes as they are written (RFC 9562)."""
    count = len(values)
    filled = pc.fill_null(values.cast(pa.binary()), bytes(16)) if values.null_count else values
    _, *_, held = filled.cast(pa.binary(16)).buffers()
    first = 16 * filled.offset
    raw = np.frombuffer(held, np.uint8, 16 * count, first) if count else np.empty(0, np.uint8)
    digits = _PAIRS[raw].view(np.uint8).reshape(count, 32)
    written = np.full((count, 36), ord("-"), np.uint8)
    for dashes, (start, end) in enumerate(pairwise((0, 8, 12, 16, 20, 32))):
        written[:, start + dashes : end + dashes] = digits[:, start:end]
    made = _fixed(written)
    return pc.if_else(values.is_valid(), made, None) if values.null_count else made


def _fixed(written: npt.NDArray[np.uint8]) -> pa.Array:
    """Give rows of signs, all of one length, as texts."""
    count, size = written.shape
    offsets = np.arange(0, (count + 1) * size, size, dtype=np.int32)
    return pa.Array.from_buffers(
        pa.binary(), count, [None, pa.py_buffer(offsets), pa.py_buffer(written)]
    )
