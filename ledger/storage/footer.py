"""What a file of the book says about itself, in its Parquet footer.

Each value is text under a key that starts with `lockring.`; any Parquet tool shows them. The
file's own SHA-256 is computed with that field's 64 digits all `0`, then written in their place.
"""

from __future__ import annotations

import base64
import hashlib
import re
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import overload

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.parquet as pq

from ledger.errors import BookDamaged
from ledger.storage.merkle import Frontier

FORMAT = "1"
SEGMENT_FORMAT = "2"
"""Of a file of several commits: payloads apart from envelopes (`storage.envelope`), marks as steps.

Segments of format 1, which earlier versions wrote, are read as they are.
"""
MOST_COMMITS = 1_000_000
"""In one file; those that are made hold at most 100,000."""
_ROOT_SIZE = 32
_WRITTEN_ROOT = 40
"""Signs of a root in base 85."""
_NUMBERS_SIZE = 16
"""Bytes of one commit's size and instant."""
_MARK_SIZE = _NUMBERS_SIZE + _ROOT_SIZE
_SELF_HASH = "lockring.sha256"
_ZEROED = "0" * 64
# How thrift's compact protocol writes the key, then a text of 64 bytes (parquet.thrift, KeyValue).
_MARK = bytes([len(_SELF_HASH)]) + _SELF_HASH.encode() + b"\x18\x40"
_SHA256 = re.compile(rb"[0-9a-f]{64}")
_TRAILER_SIZE = 8
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)
_LATEST = (datetime(9999, 1, 1, tzinfo=UTC) - _EPOCH) // _MICROSECOND


@dataclass(frozen=True, slots=True)
class CommitMark:
    """Where the book stood after one commit: its number, the events so far and their root."""

    commit: int
    size: int
    root: str
    """RFC 6962 root over those events, 64 hexadecimal digits."""
    recorded_at: datetime


class PackedMarks(Sequence[CommitMark]):
    """The marks of consecutive commits, each unpacked when it is asked for.

    A segment's footer lists thousands, and most readers want the last one.
    """

    def __init__(self, text: str, roots: str | None, first: int, count: int) -> None:
        """Take what `_packed` wrote, the first commit's number and how many there are.

        Without `roots`, what format 1 has: sizes and instants as they are, then every root.
        ValueError if it holds more or fewer: no more is ever unpacked than there should be.
        """
        if not 0 < count <= MOST_COMMITS:
            raise ValueError(f"it says that it holds {count} commits")
        unpacking = zlib.decompressobj()
        size = count * (_MARK_SIZE if roots is None else _NUMBERS_SIZE)
        packed = unpacking.decompress(base64.b64decode(text, validate=True), size + 1)
        is_whole = len(packed) == size and unpacking.eof
        if not is_whole or (roots is not None and len(roots) != count * _WRITTEN_ROOT):
            raise ValueError("its list of commits is cut off, or longer than it says")
        numbers = np.frombuffer(packed, ">i8", 2 * count).reshape(2, count)
        self._numbers = numbers if roots is None else numbers.cumsum(axis=1)
        sizes, instants = self._numbers
        is_rising = sizes[0] > 0 and bool(np.all(sizes[1:] > sizes[:-1]))
        if not is_rising or instants.min() < 0 or instants.max() > _LATEST:
            raise ValueError("its list of commits is of no order, or of no time")
        self._raw_roots, self._roots = packed[_NUMBERS_SIZE * count :], roots
        self._first, self._count = first, count

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, index: int) -> CommitMark: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[CommitMark, ...]: ...
    def __getitem__(self, index: int | slice) -> CommitMark | tuple[CommitMark, ...]:
        places = range(self._count)[index]
        return self._at(places) if isinstance(places, int) else tuple(map(self._at, places))

    def __iter__(self) -> Iterator[CommitMark]:
        return map(self._at, range(self._count))

    def __eq__(self, other: object) -> bool:
        return tuple(self) == tuple(other) if isinstance(other, Sequence) else NotImplemented

    def __hash__(self) -> int:
        return hash(tuple(self))

    def _at(self, place: int) -> CommitMark:
        size, instant = self._numbers[:, place].tolist()
        recorded_at = _EPOCH + timedelta(microseconds=instant)
        return CommitMark(self._first + place, size, self._root(place).hex(), recorded_at)

    def _root(self, place: int) -> bytes:
        if self._roots is None:
            return self._raw_roots[_ROOT_SIZE * place :][:_ROOT_SIZE]
        try:
            return base64.b85decode(self._roots[_WRITTEN_ROOT * place :][:_WRITTEN_ROOT])
        except ValueError:
            return bytes(_ROOT_SIZE)  # what is written is no root: no events give this one


@dataclass(frozen=True, slots=True)
class Footer:
    """What a file holds: the marks of its commits, and the tree after the last of them."""

    marks: Sequence[CommitMark]
    frontier: Frontier
    writer: str
    """Random, made anew for every attempt to write: tells our file from somebody else's."""

    @property
    def first(self) -> int:
        """Give the number of the first commit held."""
        return self.marks[0].commit

    @property
    def last(self) -> CommitMark:
        """Give the mark of the last commit held."""
        return self.marks[-1]

    @property
    def is_of_segment(self) -> bool:
        """Tell whether the file is of the format of segments: it holds several commits."""
        return len(self.marks) > 1

    def to_metadata(self) -> dict[str, str]:
        """Give the texts that stand in the Parquet footer, the self-hash still zeroed."""
        return {
            "lockring.format": SEGMENT_FORMAT if self.is_of_segment else FORMAT,
            "lockring.writer": self.writer,
            "lockring.first_commit": str(self.first),
            "lockring.last_commit": str(self.last.commit),
            "lockring.size": str(self.last.size),
            "lockring.root": self.last.root,
            "lockring.frontier": self.frontier.to_hex(),
            **_packed(self.marks, is_segment=self.is_of_segment),
            _SELF_HASH: _ZEROED,
        }


def parse_footer(metadata: Mapping[bytes, bytes], name: str) -> Footer:
    """Give the footer that `to_metadata` wrote; BookDamaged naming the file if it is none."""
    try:
        texts = {key.decode(): value.decode() for key, value in metadata.items()}
        if texts["lockring.format"] not in (FORMAT, SEGMENT_FORMAT):
            raise BookDamaged(f"{name} is of another version of Lockring: open it with that one.")
        roots = texts["lockring.roots"] if texts["lockring.format"] == SEGMENT_FORMAT else None
        first, last_commit = (int(texts[f"lockring.{of}_commit"]) for of in ("first", "last"))
        marks = PackedMarks(texts["lockring.commits"], roots, first, last_commit - first + 1)
        frontier = Frontier.from_hex(int(texts["lockring.size"]), texts["lockring.frontier"])
        footer = Footer(marks, frontier, texts["lockring.writer"])
        last = (texts["lockring.last_commit"], texts["lockring.root"])
    except (KeyError, ValueError, OverflowError, zlib.error) as error:
        raise _damaged(name, f"what its footer says cannot be read ({error})") from None
    if last != (str(footer.last.commit), footer.last.root):
        raise _damaged(name, "what its footer says does not agree with itself")
    if (frontier.size, frontier.root().hex()) != (footer.last.size, footer.last.root):
        raise _damaged(name, "its frontier does not give its root")
    return footer


def read_footer(end: bytes, name: str = "the file") -> Footer:
    """Give the footer, from a file's bytes or from its last bytes, if they hold the whole footer.

    Raises BookDamaged, naming the file, if it cannot be read.
    """
    try:
        metadata = pq.read_metadata(pa.BufferReader(end)).metadata
    except (pa.ArrowException, OSError, ValueError) as error:
        raise not_whole(name, error) from None
    return parse_footer(metadata or {}, name)


def not_whole(name: str, error: Exception) -> BookDamaged:
    """Give what is raised where a file cannot be read as Parquet."""
    return _damaged(name, f"it is not a whole Parquet file ({error})")


def footer_size(trailer: bytes) -> int:
    """Give how many bytes at the end of a file make up its footer, from its last 8 bytes or more.

    0 if they do not end a Parquet file.
    """
    if len(trailer) < _TRAILER_SIZE or trailer[-4:] != b"PAR1":
        return 0
    return int.from_bytes(trailer[-_TRAILER_SIZE:-4], "little") + _TRAILER_SIZE


def add_self_hash(content: bytes) -> bytes:
    """Give a Parquet file's bytes with the zeroed self-hash filled in."""
    at = _self_hash_at(content)
    if at is None or content[at : at + 64] != _ZEROED.encode():
        raise ValueError("the file has no zeroed field for its own hash")
    digest = hashlib.sha256(content).hexdigest().encode()
    return content[:at] + digest + content[at + 64 :]


def check_self_hash(content: bytes) -> bool:
    """Tell whether a file's bytes give the SHA-256 the file carries of itself."""
    at = _self_hash_at(content)
    if at is None:
        return False
    view = memoryview(content)
    digest = hashlib.sha256(view[:at])
    digest.update(_ZEROED.encode())
    digest.update(view[at + 64 :])
    return digest.hexdigest().encode() == content[at : at + 64]


def hash_carried(end: bytes) -> str | None:
    """Give the SHA-256 a file carries of itself, from its last bytes; None where it is not there.

    The last 4 KiB are enough. Whether the file's bytes give it is not looked at.
    """
    found = end.rfind(_MARK)
    carried = end[found + len(_MARK) :][:64]
    is_there = found >= 0 and end.endswith(b"PAR1") and _SHA256.fullmatch(carried)
    return carried.decode() if is_there else None


def _self_hash_at(content: bytes) -> int | None:
    size = footer_size(content[-_TRAILER_SIZE:])
    if not 0 < size <= len(content):
        return None
    # Statistics may hold anything somebody typed, but they stand before the key-value pairs.
    found = content.rfind(_MARK, len(content) - size)
    return None if found < 0 else found + len(_MARK)


def is_of_segment(metadata: Mapping[bytes, bytes]) -> bool:
    """Tell whether a file says that it is of the format of segments."""
    return metadata.get(b"lockring.format") == SEGMENT_FORMAT.encode()


def _packed(marks: Sequence[CommitMark], *, is_segment: bool) -> dict[str, str]:
    """Give sizes and instants (8 bytes each, big end first) and roots, column by column.

    Of a segment as steps from the one before, its roots apart: a root cannot be pressed.
    """
    instants = ((mark.recorded_at - _EPOCH) // _MICROSECOND for mark in marks)
    numbers = np.array([[mark.size for mark in marks], [*instants]], np.int64)
    roots = bytes.fromhex("".join(mark.root for mark in marks))
    if not is_segment:
        return {"lockring.commits": _pressed(numbers, roots)}
    steps = np.diff(numbers, axis=1, prepend=0)
    return {
        "lockring.commits": _pressed(steps, b""),
        "lockring.roots": base64.b85encode(roots).decode(),
    }


def _pressed(numbers: npt.NDArray[np.int64], more: bytes) -> str:
    return base64.b64encode(zlib.compress(numbers.astype(">i8").tobytes() + more, 6)).decode()


def _damaged(name: str, wrong: str) -> BookDamaged:
    return BookDamaged(f"{name} is damaged: {wrong}. Put it back from a backup.")
