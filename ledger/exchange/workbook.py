"""XLSX sheets, row by row, every cell as text that loses nothing.

Small sheets are read by python-calamine, which is fast and holds the whole sheet. Large ones are
streamed by openpyxl, which is slower and holds a row at a time and the shared strings.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

from ledger.errors import UnreadableInput
from ledger.exchange.unpacking import extent_of

LARGE_SHEET_BYTES = 100_000_000
"""Sheets that unpack to more than this are streamed.

Measured at 280,000 rows of 8 cells, which unpack to 100 MB: held, 5 s and 175 MB; streamed,
25 s and 50 MB.
"""
MOST_CELLS_HELD = 10_000_000
"""Whoever holds a sheet makes room for every cell from the first to the farthest."""


class Exact(str):
    """A figure, date or time the sheet held as such: written our way, not the file's."""

    __slots__ = ()


Cells = tuple[str, ...]


def read(path: Path, sheet: str | None) -> Iterator[tuple[int, Cells]]:
    """Give (row number from 1, cells) for every row of a sheet, else of the first one.

    Raises UnreadableInput where the file or the sheet cannot be read.
    """
    try:
        rows = _streamed(path, sheet) if _is_large(path) else _held(path, sheet)
        for number, cells in rows:
            yield number, tuple(_text(cell) for cell in cells)
    except UnreadableInput:
        raise
    except Exception as error:
        # Both readers raise whatever their parsers do on damaged files.
        wrong = f"{path.name} cannot be read as XLSX ({type(error).__name__})"
        raise UnreadableInput(f"{wrong}. Open it, save it again, or save it as CSV.") from error


def _is_large(path: Path) -> bool:
    found = extent_of(path)
    return found.largest_part > LARGE_SHEET_BYTES or found.count_cells > MOST_CELLS_HELD


def _held(path: Path, sheet: str | None) -> Iterator[tuple[int, Iterable[Any]]]:
    from python_calamine import CalamineWorkbook

    book = CalamineWorkbook.from_path(path)
    try:
        found = book.get_sheet_by_name(_chosen(path, book.sheet_names, sheet))
        first = found.start[0] if found.start else 0
        for index, cells in enumerate(found.iter_rows()):
            if index >= first or any(cell != "" for cell in cells):
                yield index + 1, cells
    finally:
        book.close()


def _streamed(path: Path, sheet: str | None) -> Iterator[tuple[int, Iterable[Any]]]:
    import openpyxl

    book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    try:
        found = book[_chosen(path, book.sheetnames, sheet)]
        yield from enumerate(found.iter_rows(values_only=True), start=1)
    finally:
        book.close()


def _chosen(path: Path, names: list[str], sheet: str | None) -> str:
    if not names:
        raise UnreadableInput(f"{path.name} has no sheets.")
    if sheet is None:
        return names[0]
    if sheet in names:
        return sheet
    near = difflib.get_close_matches(sheet, names, n=1) or names[:5]
    known = ", ".join(f"'{name}'" for name in near)
    raise UnreadableInput(f"{path.name} has no sheet '{sheet}'. It has {known}.")


def _text(cell: Any) -> str:
    if isinstance(cell, str):
        return cell
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, int):
        return Exact(cell)
    if isinstance(cell, float):
        return Exact(_figure(cell))
    if isinstance(cell, datetime):
        is_day = (cell.hour, cell.minute, cell.second, cell.microsecond) == (0, 0, 0, 0)
        return Exact(cell.date().isoformat() if is_day else cell.isoformat(timespec="seconds"))
    if isinstance(cell, (date, time)):
        return Exact(cell.isoformat())
    if isinstance(cell, timedelta):
        return Exact(_figure(cell.total_seconds() / 60))
    return str(cell)


def _figure(value: float) -> str:
    """Give the 15 digits a spreadsheet shows: 133.1, never 133.09999999999999."""
    from decimal import Decimal

    figure = Decimal(format(value, ".15g"))
    text = format(figure, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text
