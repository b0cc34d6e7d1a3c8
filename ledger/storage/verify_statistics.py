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
    """Give the row groups whose bloom filter says that a bike they hold is not there."""
    filters = list(_filters(content, metadata))
    if len(filters) != metadata.num_row_groups:
        return  # written without filters, or laid out by another writer
    start = 0
    for number, (bits, _) in enumerate(filters):
        count = metadata.row_group(number).num_rows
        bikes = pc.unique(table["bike"].slice(start, count)).drop_null()
        start += count
        tags = [tag.encode() for tag in bikes.to_pylist()]
        if not _holds_all(bits, [tag for tag in tags if len(tag) == _TAG_SIZE]):
            wrong = f"the bloom filter of row group {number + 1} leaves out bikes it holds"
            yield Problem(name, "bike", wrong, _RIGHT, "statistics")


def _filters(
    content: bytes, metadata: pq.FileMetaData
) -> Iterator[tuple[npt.NDArray[np.uint32], int]]:
    """Give each filter's words and where they stand: after the pages, in order of row groups."""
    last = metadata.row_group(metadata.num_row_groups - 1) if metadata.num_row_groups else None
    if last is None:
        return
    ends = (last.column(place) for place in range(last.num_columns))
    at = max(_start(one) + one.total_compressed_size for one in ends)
    end = len(content) - footer_size(content[-8:])
    while (found := _BLOOM.search(content, at, end)) is not None:
        size = _varint(found[1]) >> 1
        at = found.end() + size
        if size % 32 == 0 and size > 0 and at <= end:
            yield np.frombuffer(content, np.uint32, size // 4, found.end()), found.end()


def _start(column: Any) -> int:
    dictionary = column.dictionary_page_offset
    return int(dictionary if dictionary else column.data_page_offset)


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
