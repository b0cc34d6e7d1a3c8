"""What is kept of a book's tree, in a file beside it, and how it is read and written."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

import pyarrow as pa

from ledger.errors import BookDamaged
from ledger.storage import aside
from ledger.storage.footer import CommitMark, Footer, footer_size, hash_carried, read_footer

NAME = "tree.arrow"
BLOCK_LEVEL = 8
BLOCK = 1 << BLOCK_LEVEL
"""Events in a block: the smallest subtree whose root is kept."""
_FORM = "1"
_HASH = pa.binary(32)
_FIRST_READ = 16 * 1024
_END_SIZE = 4096


@dataclass(frozen=True, slots=True)
class End:
    """Where the book stood after a file."""

    name: str
    sha256: str
    """The hash the file carries of itself."""
    commit: int
    size: int
    recorded_at: datetime


@dataclass(frozen=True, slots=True)
class Kept:
    """What was kept: the roots of blocks and above, of the book as it then stood."""

    levels: list[list[bytes]]
    """Level 8 first; each as long as it has complete subtrees."""
    ends: tuple[End, ...]
    commit: int
    size: int
    root: str


def read(folder: Path) -> Kept | None:
    """Give what lies in a folder; None where there is nothing, or nothing that can be read."""
    table = aside.read(folder / NAME)
    told = (table.schema.metadata or {}) if table is not None else {}
    if table is None or told.get(b"form") != _FORM.encode():
        return None
    try:
        commit, size = int(told[b"commit"]), int(told[b"size"])
        hashes = table["hash"].cast(_HASH).to_pylist()
        ends = tuple(_end(one) for one in json.loads(told[b"files"]))
        return Kept(
            _levels(hashes, int(told[b"blocks"])), ends, commit, size, told[b"root"].decode()
        )
    except (KeyError, TypeError, ValueError, pa.ArrowException):
        return None


def write(
    folder: Path, levels: Sequence[Sequence[bytes]], ends: Sequence[End], mark: CommitMark
) -> None:
    """Lay it in a folder, where that can be written; `mark` is of the book's newest commit."""
    hashes = [one for level in levels for one in level]
    told = {
        "form": _FORM,
        "commit": str(mark.commit),
        "size": str(mark.size),
        "root": mark.root,
        "blocks": str(len(levels[0])),
        "files": json.dumps([{**asdict(one), "recorded_at": str(one.recorded_at)} for one in ends]),
    }
    aside.write(folder / NAME, pa.table({"hash": pa.array(hashes, _HASH)}), told)


def ends_of(paths: Sequence[Path], known: Iterable[End]) -> list[End]:
    """Give where the book stood after each file; a footer is read only where it is not known.

    A file is known again by the hash it carries of itself.
    """
    by_name = {end.name: end for end in known}
    found = []
    for path in paths:
        end = by_name.get(path.name)
        found.append(end if end and end.sha256 == _carried(path) else _end_of(path))
    return found


def footer_at(path: Path) -> Footer:
    """Give a file's footer, reading little else; BookDamaged, naming it, if it cannot be read."""
    end = _last_bytes(path, _FIRST_READ)
    if footer_size(end) > len(end):
        end = _last_bytes(path, footer_size(end))
    return read_footer(end, path.name)


def _end_of(path: Path) -> End:
    last = footer_at(path).last
    return End(path.name, _carried(path) or "", last.commit, last.size, last.recorded_at)


def _carried(path: Path) -> str | None:
    return hash_carried(_last_bytes(path, _END_SIZE))


def _last_bytes(path: Path, size: int) -> bytes:
    try:
        with path.open("rb") as file:
            file.seek(max(0, file.seek(0, os.SEEK_END) - size))
            return file.read()
    except FileNotFoundError:
        raise BookDamaged(f"{path.name} is gone. Put it back from a backup.") from None


def _end(told: dict[str, object]) -> End:
    recorded_at = datetime.fromisoformat(str(told["recorded_at"]))
    commit, size = int(str(told["commit"])), int(str(told["size"]))
    return End(str(told["name"]), str(told["sha256"]), commit, size, recorded_at)


def _levels(hashes: list[bytes], blocks: int) -> list[list[bytes]]:
    levels: list[list[bytes]] = []
    at, count = 0, blocks
    while not levels or count:
        levels.append(hashes[at : at + count])
        at, count = at + count, count // 2
    if at != len(hashes):
        raise ValueError("there are more or fewer hashes than such a tree has")
    return levels
