"""What a file's footer says of its pages: a wrong figure there would hide events from a reader.

Readers skip a row group whose smallest and greatest value, count of nulls or bloom filter says
that what they look for is not in it. So each is held to the rows themselves.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.errors import Problem
from ledger.storage.footer import footer_size

_RIGHT = "Put the file back from a backup"
# A bloom filter's header in thrift's compact protocol (parquet.thrift, BloomFilterHeader): its
# size, then block algorithm, XXH64 hash, no compression.
_BLOOM = re.compile(
    rb"\x15([\x80-\xff]{0,4}[\x00-\x7f])" + rb"\x1c\x1c\x00\x00" * 3 + rb"\x00", re.DOTALL
)
_SALTS = np.array(
    [
        0x47B6137B,
        0x44974D91,
        0x8824AD5B,
        0xA2B7289D,
        0x705495C7,
        0x2DF1424B,
        0x9EFC4947,
        0x5C6BFB31,
    ],
    np.uint32,
)
_PRIMES = [
    np.uint64(prime)
    for prime in (
        0x9E3779B185EBCA87, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9, 0x85EBCA77C2B2AE63,
        0x27D4EB2F165667C5,
    )
]  # fmt: skip
_TAG_SIZE = 8


def wrong_statistics(name: str, metadata: pq.FileMetaData, table: pa.Table) -> Iterator[Problem]:
    """Give the columns of which a row group's bounds or count of nulls leave out rows it holds.

    `table` holds the file's rows as they stand there, row group after row group.
    """
    start = 0
    for number in range(metadata.num_row_groups):
        group = metadata.row_group(number)
        rows = table.slice(start, group.num_rows)
        start += group.num_rows
        for place in range(group.num_columns):
            said = group.column(place)
            column = said.path_in_schema
            if column in rows.column_names and _is_wrong(said.statistics, rows[column]):
                wrong = (
                    f"its least, greatest or null figures leave out rows of row group {number + 1}"
                )
                yield Problem(name, column, wrong, _RIGHT, "statistics")


def _is_wrong(said: Any, held: pa.ChunkedArray) -> bool:
    if said is None:
        return False
    if said.has_null_count and said.null_count != held.null_count:
        return True
    if not said.has_min_max or held.null_count == len(held):
        return False
    if pa.types.is_fixed_size_binary(held.type):
        held = held.cast(pa.binary())
    try:
        bounds = pc.min_max(held).as_py()
        return bool(said.min > bounds["min"] or said.max < bounds["max"])
    except (TypeError, ValueError, OverflowError):
        return True  # no text, or a time beyond the years there are: no figure of ours


def wrong_blooms(
    name: str, content: bytes, metadata: pq.FileMetaData, table: pa.Table
) -> Iterator[Problem]:
    """Give what of a file would have a reader skip a row group that holds what it looks for.

    Only bikes have filters, and there is no index of pages: where the footer says otherwise,
    readers would believe what nobody of ours wrote.
    """
    start = 0
    for number in range(metadata.num_row_groups):
        group = metadata.row_group(number)
        bikes = pc.unique(table["bike"].slice(start, group.num_rows)).drop_null()
        start += group.num_rows
        for place in range(group.num_columns):
            said = group.column(place)
            wrong = _wrong_hint(said, content, bikes)
            if wrong:
                where = f"{wrong} (row group {number + 1})"
                yield Problem(name, said.path_in_schema, where, _RIGHT, "statistics")


def _wrong_hint(said: Any, content: bytes, bikes: pa.ChunkedArray) -> str:
    """Give what is wrong with the filter and index of one column chunk; nothing, an empty text."""
    if said.has_column_index or said.has_offset_index:
        return "it has an index of pages, which no file of ours has"
    if said.bloom_filter_offset is None:
        return ""
    if said.path_in_schema != "bike":
        return "it has a bloom filter, which only bikes have"
    found = _filter_at(content, said.bloom_filter_offset)
    if found is None:
        return "its bloom filter is none"
    tags = [tag.encode() for tag in bikes.to_pylist()]
    if not _holds_all(found, [tag for tag in tags if len(tag) == _TAG_SIZE]):
        return "the bloom filter leaves out bikes it holds"
    return ""


def _filter_at(content: bytes, offset: int) -> npt.NDArray[np.uint32] | None:
    """Give the words of the filter that begins somewhere; None where none does."""
    end = len(content) - footer_size(content[-8:])
    found = _BLOOM.match(content, offset, end) if 0 <= offset < end else None
    if found is None:
        return None
    size = _varint(found[1]) >> 1
    is_whole = size % 32 == 0 and 0 < size <= end - found.end()
    return np.frombuffer(content, np.uint32, size // 4, found.end()) if is_whole else None


def _varint(raw: bytes) -> int:
    return sum((byte & 0x7F) << (7 * place) for place, byte in enumerate(raw))


def _holds_all(words: npt.NDArray[np.uint32], tags: list[bytes]) -> bool:
    """Tell whether a split-block bloom filter (parquet-format, BloomFilter.md) has every tag."""
    if not tags:
        return True
    hashes = _xxh64(np.frombuffer(b"".join(tags), np.uint64))
    blocks = words.reshape(-1, 8)
    place = ((hashes >> np.uint64(32)) * np.uint64(len(blocks))) >> np.uint64(32)
    low = hashes.astype(np.uint32)[:, None]
    masks = np.uint32(1) << ((low * _SALTS) >> np.uint32(27))
    return bool(np.all(blocks[place.astype(np.int64)] & masks))


def _xxh64(lanes: npt.NDArray[np.uint64]) -> npt.NDArray[np.uint64]:
    """Give the XXH64 (seed 0) of texts of eight bytes each, as its specification says for them."""
    one, two, three, four, five = _PRIMES
    with np.errstate(over="ignore"):
        found = np.full(len(lanes), five + np.uint64(_TAG_SIZE), np.uint64)
        found ^= _rotated(lanes * two, 31) * one
        found = _rotated(found, 27) * one + four
        found = (found ^ (found >> np.uint64(33))) * two
        found = (found ^ (found >> np.uint64(29))) * three
        return found ^ (found >> np.uint64(32))


def _rotated(values: npt.NDArray[np.uint64], by: int) -> npt.NDArray[np.uint64]:
    return (values << np.uint64(by)) | (values >> np.uint64(64 - by))
