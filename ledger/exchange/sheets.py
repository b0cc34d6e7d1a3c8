"""Tables of figures written for a spreadsheet: one as CSV, several as the sheets of an XLSX.

No cell is ever taken for a formula: text that looks like one is quoted in CSV, and stored as text
in XLSX.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from ledger.errors import LedgerError
from ledger.exchange.export import neutral

Cell = str | bool | int | float | Decimal | date | datetime | None
MOST_ROWS = 1_048_575
"""What one sheet of an XLSX holds below its header."""
LONGEST_NAME = 31
LONGEST_TEXT = 32_767
WIDEST = 60
_NOT_IN_NAMES = str.maketrans(dict.fromkeys("[]:*?/\\", " "))
_STEERING = {code: "\ufffd" for code in range(32) if code not in (9, 10, 13)}


@dataclass(frozen=True, slots=True)
class Sheet:
    """One table: its name, its columns, and its rows of as many cells."""

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]


# -- CSV --------------------------------------------------------------------------------------


def csv_bytes(sheet: Sheet) -> bytes:
    """Give a table as CSV in UTF-8: figures whole, days and instants in ISO form."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([_quoted(name) for name in sheet.columns])
    writer.writerows([_csv_cell(cell) for cell in row] for row in sheet.rows)
    return text.getvalue().encode("utf-8")


def _csv_cell(cell: Cell) -> str:
    if cell is None or (isinstance(cell, float) and not math.isfinite(cell)):
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, datetime):
        return cell.isoformat(timespec="seconds")
    if isinstance(cell, date):
        return cell.isoformat()
    return _quoted(cell) if isinstance(cell, str) else str(cell)


def _quoted(text: str) -> str:
    """Give text no spreadsheet runs; what looks like a figure stays what somebody typed."""
    return f"'{text}" if text.startswith("-") else neutral(text)


# -- XLSX -------------------------------------------------------------------------------------


def xlsx_bytes(sheets: Sequence[Sheet]) -> bytes:
    """Give tables as one XLSX, a sheet each; instants as the wall clock they are given in.

    Raises LedgerError where a table has more rows than a sheet holds.
    """
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    names: set[str] = set()
    for sheet in sheets:
        if len(sheet.rows) > MOST_ROWS:
            raise LedgerError(
                f"{sheet.name} has {len(sheet.rows):,} rows, and a sheet of XLSX holds "
                f"{MOST_ROWS:,}: write it as CSV, or take a shorter period."
            )
        _write_sheet(book.create_sheet(_sheet_name(sheet.name, names)), sheet)
    whole = io.BytesIO()
    book.save(whole)
    return whole.getvalue()


def _sheet_name(name: str, taken: set[str]) -> str:
    """Give a name a sheet can have, that no other has."""
    base = " ".join(name.translate(_NOT_IN_NAMES).split())[:LONGEST_NAME].strip("'") or "table"
    found, count = base, 1
    while found.casefold() in taken:
        count += 1
        found = f"{base[: LONGEST_NAME - len(str(count)) - 1]} {count}"
    taken.add(found.casefold())
    return found


def _write_sheet(out: Any, sheet: Sheet) -> None:
    from openpyxl.utils import get_column_letter

    for place, width in enumerate(_widths(sheet), start=1):
        out.column_dimensions[get_column_letter(place)].width = width
    out.freeze_panes = "A2"
    out.append([_xlsx_cell(out, name, is_head=True) for name in sheet.columns])
    for row in sheet.rows:
        out.append([_xlsx_cell(out, cell) for cell in row])


def _widths(sheet: Sheet) -> Iterator[int]:
    some: Iterable[tuple[Cell, ...]] = sheet.rows[:200]
    columns = zip(*some, strict=True) if sheet.rows else [()] * len(sheet.columns)
    for name, cells in zip(sheet.columns, columns, strict=True):
        longest = max((len(_csv_cell(cell)) for cell in cells), default=0)
        yield min(max(len(name), longest, 6) + 2, WIDEST)


def _xlsx_cell(out: Any, cell: Cell, *, is_head: bool = False) -> Any:
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    if isinstance(cell, float) and not math.isfinite(cell):
        cell = None
    if isinstance(cell, datetime):
        cell = cell.replace(tzinfo=None)
    if isinstance(cell, str):
        cell = cell.translate(_STEERING)[:LONGEST_TEXT]
    made = WriteOnlyCell(out, cell)
    if isinstance(cell, str):
        made.data_type = "s"
        # Edited in a spreadsheet, it would else be read anew, as a formula.
        made.quotePrefix = _quoted(cell) != cell
    if isinstance(cell, Decimal):
        exponent = cell.as_tuple().exponent
        places = -exponent if isinstance(exponent, int) and exponent < 0 else 0
        made.number_format = f"0.{'0' * places}" if places else "0"
    if is_head:
        made.font = Font(bold=True)
    return made
