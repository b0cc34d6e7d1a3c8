"""How much an XLSX unpacks to, looked at before anything is read from it.

A small file may unpack to more than a machine holds, or set one cell so far out that a reader
makes room for every cell before it. Its own figures of that are not believed: every part is
unpacked here once, a piece at a time, and thrown away.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ledger.errors import UnreadableInput

MOST_BYTES = 3_000_000_000
"""Of all parts together: three times what the longest sheet of a dozen columns unpacks to."""
MOST_BYTES_OF_STRINGS = 600_000_000
"""Of a part that is held whole by every reader: the texts that cells share."""
MOST_COLUMNS = 2_000
_PIECE = 1 << 20
_LONGEST_TAG = 65_536
_TAGS = re.compile(rb"<(?:\w+:)?(row|c)(?![:\w.-])((?:[^<>\"']|\"[^\"<]*\"|'[^'<]*')*)")
_USUAL = re.compile(rb"\sr=\"([A-Za-z]{0,4})([0-9]{1,9})\"")
"""How every writer in use begins the attributes of a row or a cell."""
_ATTRIBUTES = re.compile(rb"([^\s=\"']+)\s*=\s*(?:\"([^\"]*)\"|'([^']*)')")
_ADDRESS = re.compile(rb"([A-Za-z]{0,4})([0-9]{1,9})")


@dataclass
class Extent:
    """What a file unpacks to, and how far its cells reach."""

    count_bytes: int = 0
    largest_part: int = 0
    count_rows: int = 0
    count_columns: int = 0

    @property
    def count_cells(self) -> int:
        """The cells of the block from the first to the farthest."""
        return self.count_rows * self.count_columns


def extent_of(path: Path) -> Extent:
    """Unpack every part of a file and say how much that is.

    Raises UnreadableInput for more than any log is, and zipfile.BadZipFile for a file that is
    none or lies about itself.
    """
    found = Extent()
    with zipfile.ZipFile(path) as archive:
        for part in archive.infolist():
            places, size = _Places(), 0
            for piece in _pieces(archive, part):
                size += len(piece)
                found.count_bytes += len(piece)
                _refuse_too_much(path, part.filename, size, found.count_bytes)
                _refuse_odd(path, places.take(piece), size == len(piece))
            places.end()
            found.largest_part = max(found.largest_part, size)
            found.count_rows = max(found.count_rows, places.last_row)
            found.count_columns = max(found.count_columns, places.last_column)
            _refuse_far_out(path, found)
    return found


def _pieces(archive: zipfile.ZipFile, part: zipfile.ZipInfo) -> Iterator[bytes]:
    with archive.open(part) as stream:
        while piece := stream.read(_PIECE):
            yield piece


def _refuse_too_much(path: Path, part: str, size: int, count_bytes: int) -> None:
    is_shared = "sharedstrings" in part.casefold() and size > MOST_BYTES_OF_STRINGS
    if is_shared or count_bytes > MOST_BYTES:
        raise UnreadableInput(
            f"{path.name} unpacks to more than any log is ({count_bytes / 1e9:.1f} GB and on). "
            "Nothing was read from it. Save the sheet you want as CSV."
        )


def _refuse_odd(path: Path, text: bytes, is_start: bool) -> None:
    """Refuse what no spreadsheet writes, and what readers could be led astray by."""
    is_utf_16 = is_start and (text[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\0" in text[:4])
    if b"<!DOCTYPE" in text or b"<!ENTITY" in text or (is_utf_16 and b"x" in text[:16]):
        raise UnreadableInput(
            f"{path.name} holds what no spreadsheet writes (other words or letters for its own "
            "parts). Nothing was read from it. Open it, save it again, or save it as CSV."
        )


def _refuse_far_out(path: Path, found: Extent) -> None:
    if found.count_columns > MOST_COLUMNS:
        raise UnreadableInput(
            f"{path.name} has a cell in column {found.count_columns:,}; a log has at most "
            f"{MOST_COLUMNS:,} columns. Delete what stands far to the right, or save it as CSV."
        )


class _Places:
    """How far the cells of one part reach: by their own addresses, and by their order."""

    def __init__(self) -> None:
        self.last_row = self.last_column = 0
        self._row = self._column = 0
        self._rest = b""

    def take(self, piece: bytes) -> bytes:
        """Look at the tags that end in what was given so far; gives what stands there now."""
        text = self._rest + piece
        cut = text.rfind(b"<")
        self._look(text[: max(cut, 0)])
        self._rest = text[cut:] if cut >= 0 else b""
        if b">" in self._rest:
            self.end()
        if len(self._rest) > _LONGEST_TAG:
            raise zipfile.BadZipFile("a tag that does not end")
        return text

    def end(self) -> None:
        """Look at what is left."""
        self._look(self._rest)
        self._rest = b""

    def _look(self, text: bytes) -> None:
        for tag, attributes in _TAGS.findall(text):
            usual = _USUAL.match(attributes)
            letters, digits = usual.groups() if usual else _address(attributes)
            if tag == b"row":
                self._row = int(digits) if digits else self._row + 1
                self._column = 0
            else:
                self._column = _column(letters) if letters else self._column + 1
                self._row = int(digits) if digits else max(self._row, 1)
            self.last_column = max(self.last_column, self._column)
            self.last_row = max(self.last_row, self._row)


def _address(attributes: bytes) -> tuple[bytes, bytes]:
    """Give the column and row that a tag's own address says; empty where it has none."""
    for name, double, single in _ATTRIBUTES.findall(attributes):
        if name.lower() == b"r":
            found = _ADDRESS.fullmatch((double or single).strip())
            return (found[1], found[2]) if found else (b"", b"")
    return b"", b""


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = 26 * number + letter - 64
    return number
