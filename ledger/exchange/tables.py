"""Tables as people keep them, CSV or XLSX, read row by row as text.

CSV is read as RFC 4180 has it, whatever the delimiter. UTF-8 (with and without byte-order mark),
UTF-16 and Windows-1252 are told apart by the bytes.
"""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from ledger.errors import UnreadableInput
from ledger.exchange import workbook
from ledger.exchange.workbook import Cells

DELIMITERS = ",;\t|"
_BLOCK = 1 << 20
_SAMPLE = 1 << 16
MOST_COLUMNS = 1_000


@dataclass(frozen=True, slots=True)
class Row:
    """One row: where it stands, its cells as text in the order of the columns."""

    number: int
    """The line (CSV) or the row (XLSX) it starts at, counted from 1 as the person sees it."""
    cells: Cells
    problem: str = ""
    """Why the row cannot be read as columns, where it cannot."""


@dataclass(frozen=True, slots=True)
class Table:
    """A file whose columns are known and whose rows can be read as often as needed."""

    path: Path
    columns: tuple[str, ...]
    form: str
    """What was detected: `CSV, windows-1252, ';'`."""
    read: Callable[[], Iterator[Row]]
    """Gives the rows below the header from the beginning, a few at a time in memory."""


def open_table(
    path: Path,
    *,
    encoding: str | None = None,
    delimiter: str | None = None,
    sheet: str | None = None,
    header_row: int | None = None,
) -> Table:
    """Give the table in a file; what is not said is detected.

    Raises UnreadableInput where the file is no table, saying what to do.
    """
    if not path.is_file():
        raise UnreadableInput(f"There is no file {path}. Give the path of a CSV or XLSX file.")
    if path.suffix.lower() in (".xlsx", ".xlsm"):
        return _workbook(path, sheet, header_row)
    encoding = encoding or detect_encoding(path)
    try:
        delimiter = delimiter or detect_delimiter(path, encoding)
        form = f"CSV, {encoding}, {delimiter!r}"
        raw = _raw_rows(path, encoding, delimiter)
        return _with_header(
            path, form, lambda: _raw_rows(path, encoding, delimiter), raw, header_row
        )
    except (UnicodeError, LookupError) as error:
        raise UnreadableInput(f"{path.name} is not {encoding} text. Save it as UTF-8.") from error


def _workbook(path: Path, sheet: str | None, header_row: int | None) -> Table:
    def rows() -> Iterator[Row]:
        for number, cells in workbook.read(path, sheet):
            yield Row(number, cells)

    return _with_header(path, "XLSX", rows, rows(), header_row)


def _with_header(
    path: Path,
    form: str,
    again: Callable[[], Iterator[Row]],
    first: Iterator[Row],
    header_row: int | None,
) -> Table:
    header = next((row for row in first if _is_header(row, header_row)), None)
    if header is None or header.problem:
        what = f" ({header.problem})" if header else ""
        raise UnreadableInput(f"{path.name} has no row of column names{what}. Put one on top.")
    columns = _names(header.cells)

    def read() -> Iterator[Row]:
        for row in again():
            if row.number > header.number and (row.problem or any(c.strip() for c in row.cells)):
                yield _fitted(row, len(columns))

    return Table(path, columns, form, read)


def _is_header(row: Row, header_row: int | None) -> bool:
    if header_row is not None:
        return row.number >= header_row
    return bool(row.problem) or any(cell.strip() for cell in row.cells)


def _names(cells: Cells) -> tuple[str, ...]:
    """Give every column a name of its own: `Price`, `Price (2)`, `column 3`."""
    names: list[str] = []
    for index, cell in enumerate(cells, start=1):
        name = " ".join(cell.split()) or f"column {index}"
        count = 1
        wanted = name
        while wanted in names:
            count += 1
            wanted = f"{name} ({count})"
        names.append(wanted)
    while len(names) > 1 and names[-1].startswith("column ") and not cells[len(names) - 1].strip():
        names.pop()
    if len(names) > MOST_COLUMNS:
        raise UnreadableInput(f"There are {len(names)} columns. Keep the {MOST_COLUMNS} needed.")
    return tuple(names)


def _fitted(row: Row, count: int) -> Row:
    """Give the row exactly as many cells as there are columns; too many are a problem."""
    missing = count - len(row.cells)
    if missing >= 0:
        return replace(row, cells=(*row.cells, *[""] * missing)) if missing else row
    if not any(cell.strip() for cell in row.cells[count:]):
        return replace(row, cells=row.cells[:count])
    wrong = f"has {len(row.cells)} cells where there are {count} columns"
    cells = (*row.cells[: count - 1], ", ".join(row.cells[count - 1 :]))
    return replace(row, cells=cells, problem=f"{wrong}; quote cells that hold the delimiter")


def detect_encoding(path: Path) -> str:
    """Give the encoding of a text file by its bytes, reading all of it once.

    Raises UnreadableInput where it is not text.
    """
    with path.open("rb") as file:
        start = file.read(4096)
        marked = _by_mark(start)
        if marked:
            return marked
        file.seek(0)
        decoder = codecs.getincrementaldecoder("utf-8")()
        is_utf8 = True
        while block := file.read(_BLOCK):
            if b"\x00" in block:
                raise UnreadableInput(f"{path.name} is not a text table. Save it as CSV or XLSX.")
            try:
                decoder.decode(block) if is_utf8 else block.decode("cp1252")
            except UnicodeDecodeError:
                is_utf8 = False
        return "utf-8" if is_utf8 and not decoder.getstate()[0] else "windows-1252"


def _by_mark(start: bytes) -> str | None:
    marks = {
        codecs.BOM_UTF8: "utf-8-sig",
        codecs.BOM_UTF16_LE: "utf-16",
        codecs.BOM_UTF16_BE: "utf-16",
    }
    for mark, name in marks.items():
        if start.startswith(mark):
            return name
    half = len(start) // 2
    if half and start[1::2].count(0) > half * 0.7 and start[::2].count(0) < half * 0.1:
        return "utf-16-le"
    if half and start[::2].count(0) > half * 0.7 and start[1::2].count(0) < half * 0.1:
        return "utf-16-be"
    return None


def detect_delimiter(path: Path, encoding: str) -> str:
    """Give the delimiter under which the first rows have the same number of cells."""
    with path.open(encoding=encoding, newline="") as file:
        sample = file.read(_SAMPLE)
    if sample[:4].lower() == "sep=" and sample[4:5] in DELIMITERS:
        return sample[4]
    return max(DELIMITERS, key=lambda delimiter: _evenness(sample, delimiter))


def _evenness(sample: str, delimiter: str) -> tuple[float, int]:
    rows = csv.reader(io.StringIO(sample, newline=""), delimiter=delimiter)
    try:
        counts = [len(row) for _, row in zip(range(200), rows, strict=False) if row]
    except csv.Error:
        return (0.0, 0)
    if len(counts) > 2:
        counts = counts[:-1]
    usual = max(set(counts), key=counts.count, default=1)
    if usual < 2:
        return (0.0, 0)
    return (counts.count(usual) / len(counts), usual)


class _Lines:
    """The lines of a file, with those kept that the row being read is made of."""

    def __init__(self, file: Iterator[str]) -> None:
        self._file = file
        self.kept: list[str] = []

    def __iter__(self) -> Iterator[str]:
        for line in self._file:
            self.kept.append(line)
            yield line


def _raw_rows(path: Path, encoding: str, delimiter: str) -> Iterator[Row]:
    with path.open(encoding=encoding, newline="") as file:
        lines = _Lines(file)
        rows = csv.reader(lines, delimiter=delimiter, strict=True)
        while True:
            started = rows.line_num + 1
            lines.kept.clear()
            try:
                cells = next(rows)
            except StopIteration:
                return
            except csv.Error as error:
                raw = "".join(lines.kept).rstrip("\r\n")
                yield Row(started, (raw,), _csv_problem(str(error), started))
                continue
            except UnicodeError as error:
                wrong = f"Line {started} of {path.name} holds bytes that are not {encoding}"
                raise UnreadableInput(f"{wrong}. Save the file as UTF-8.") from error
            if started > 1 or [cell[:4].lower() for cell in cells[:1]] != ["sep="]:
                yield Row(started, tuple(cells))


def _csv_problem(error: str, line: int) -> str:
    if "unexpected end" in error or "field larger" in error:
        return f"a quote opened in line {line} is never closed; close it, or double it"
    if "expected after" in error:
        return "text follows a closing quote; double a quote that is meant as such"
    return f"cannot be read as CSV ({error})"
