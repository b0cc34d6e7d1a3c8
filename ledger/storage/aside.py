"""A table kept beside the book as a file: Arrow's own form, read in place, held to a sum of bytes.

Nothing depends on such a file: what cannot be read or written is as if it were not there.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import zlib
from collections.abc import Mapping
from pathlib import Path

import pyarrow as pa

_END = b"LOCKRING"
_END_SIZE = len(_END) + 4


def write(path: Path, table: pa.Table, metadata: Mapping[str, str]) -> bool:
    """Write a table with texts in its schema; whoever reads sees all of it or nothing.

    Says whether it was written: not where the folder cannot be written, or is full.
    """
    sink = pa.BufferOutputStream()
    marked = table.replace_schema_metadata(dict(metadata)).combine_chunks()
    with pa.ipc.new_file(sink, marked.schema) as writer:
        writer.write_table(marked)
    content = sink.getvalue()
    temporary = path.with_name(f".tmp-{secrets.token_hex(8)}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with temporary.open("xb") as file:
            file.write(content)
            file.write(_END + zlib.crc32(content).to_bytes(4, "big"))
        temporary.replace(path)
    except OSError:
        with contextlib.suppress(OSError):
            temporary.unlink()
        return False
    return True


def read(path: Path, *, is_summed: bool = True) -> pa.Table | None:
    """Give the table of a file, read in place; None where it is not there whole and sound.

    Without `is_summed` its bytes are not held to their sum, which would read them all.
    """
    try:
        with path.open("rb") as file:
            size = os.fstat(file.fileno()).st_size
        if size <= _END_SIZE:
            return None
        with pa.memory_map(str(path)) as mapped:
            content = mapped.read_buffer(size)
        body, end = content.slice(0, size - _END_SIZE), content.slice(size - _END_SIZE)
        if not end.to_pybytes().startswith(_END):
            return None
        if is_summed and end.to_pybytes() != _END + zlib.crc32(body).to_bytes(4, "big"):
            return None
        return pa.ipc.open_file(pa.BufferReader(body)).read_all()
    except (OSError, pa.ArrowException):
        return None
