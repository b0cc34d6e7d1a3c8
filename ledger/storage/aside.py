"""A table kept beside the book as a file: Arrow's own form, held to a sum of bytes.

Nothing depends on such a file: what cannot be read or written is as if it were not there. A great
one is read in place, for as long as its table is held: meanwhile it may be taken away or put in
place anew, as `write` does, and must not be written over.
"""

from __future__ import annotations

import contextlib
import mmap
import os
import secrets
import zlib
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import BinaryIO

import pyarrow as pa

_END = b"LOCKRING"
_END_SIZE = len(_END) + 4
_AT_ONCE = 1 << 24
_GREAT = 1 << 25
"""Bytes from which on a file is read in place. A smaller one is held in memory."""


def write(path: Path, table: pa.Table, metadata: Mapping[str, str]) -> bool:
    """Write a table with texts in its schema; whoever reads sees all of it or nothing.

    Says whether it was written: not where the folder cannot be written, or is full.
    """
    return write_pieces(path, table.schema, (table,), metadata)


def write_pieces(
    path: Path, schema: pa.Schema, pieces: Iterable[pa.Table], metadata: Mapping[str, str]
) -> bool:
    """Write a table that comes piece by piece, as `write` does: one piece is in memory at a time.

    Read again it is in as many chunks. What `pieces` raise is passed on, but for an OSError.
    """
    marked = schema.with_metadata(dict(metadata))
    temporary = path.with_name(f".tmp-{secrets.token_hex(8)}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with temporary.open("xb") as file:
            summed = _Summed(file)
            with pa.ipc.new_file(pa.PythonFile(summed, mode="w"), marked) as writer:
                for piece in pieces:
                    writer.write_table(piece.combine_chunks())
            file.write(_END + summed.sum.to_bytes(4, "big"))
        temporary.replace(path)
    except BaseException as error:
        with contextlib.suppress(OSError):
            temporary.unlink()
        if isinstance(error, OSError):
            return False
        raise
    return True


class _Summed:
    """A file to write to, and the sum of what went into it."""

    closed = False

    def __init__(self, file: BinaryIO) -> None:
        self._file = file
        self.sum = 0

    def write(self, content: bytes) -> int:
        """Write bytes; give how many."""
        self.sum = zlib.crc32(content, self.sum)
        return self._file.write(content)

    def tell(self) -> int:
        """Say how many bytes were written."""
        return self._file.tell()

    def flush(self) -> None:
        """Do nothing: who closes the file flushes it."""

    def close(self) -> None:
        """Leave the file open: something follows."""


def read(path: Path) -> pa.Table | None:
    """Give the table of a file; None where it is not there whole and sound."""
    try:
        with path.open("rb") as file:
            size = os.fstat(file.fileno()).st_size - _END_SIZE
            if size <= 0:
                return None
            whole: mmap.mmap | bytes
            if size < _GREAT:
                whole = file.read(size + _END_SIZE)
            else:
                whole = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
        if whole[size:] != _END + _sum_of(whole, size):
            return None
        return _in_place(pa.py_buffer(whole), size)
    except (OSError, ValueError, pa.ArrowException):
        return None


def read_unsummed(path: Path) -> tuple[pa.Table, int] | None:
    """Give the table of a file, and where in memory its first byte is, as long as that is held.

    Its bytes are not held to their sum, which would read them all. None where it is not there.
    """
    try:
        with path.open("rb") as file:
            size = os.fstat(file.fileno()).st_size - _END_SIZE
            file.seek(max(size, 0))
            if size <= 0 or not file.read().startswith(_END):
                return None
            whole = pa.py_buffer(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ))
            return _in_place(whole, size), whole.address
    except (OSError, ValueError, pa.ArrowException):
        return None


def _in_place(whole: pa.Buffer, size: int) -> pa.Table:
    return pa.ipc.open_file(pa.BufferReader(whole.slice(0, size))).read_all()


def _sum_of(whole: mmap.mmap | bytes, size: int) -> bytes:
    """Give the sum of a file's first bytes, as it stands at the end.

    What is looked at for that alone does not stay in memory.
    """
    total = 0
    with memoryview(whole) as content:
        for start in range(0, size, _AT_ONCE):
            end = min(start + _AT_ONCE, size)
            total = zlib.crc32(content[start:end], total)
            if isinstance(whole, mmap.mmap) and end - start == _AT_ONCE:
                _let_go(whole, start)
    return total.to_bytes(4, "big")


def _let_go(whole: mmap.mmap, start: int) -> None:
    if hasattr(mmap, "MADV_DONTNEED"):
        whole.madvise(mmap.MADV_DONTNEED, start, _AT_ONCE)
