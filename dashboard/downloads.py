"""Tables as files: CSV as RFC 4180 has it, and XLSX; no cell of either is run as a formula."""

from __future__ import annotations

import csv
import io
import re
from datetime import date
from decimal import Decimal

import streamlit as st

from dashboard.labour_table import Table, Value
from ledger.exchange.export import neutral

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
LONGEST_SHEET_NAME = 31
_UNWRITABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")
"""Control signs that XML, and so a workbook, cannot hold."""


def csv_bytes(table: Table) -> bytes:
    """Give a table as CSV (RFC 4180: commas, CRLF, quotes doubled), in UTF-8."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([neutral(head) for head in table.heads])
    writer.writerows([_plain(value) for value in row] for row in table.values)
    return out.getvalue().encode("utf-8")


def _plain(value: Value) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        # text is never a figure: even -1 that somebody typed stays what they typed
        return f"'{value}" if value.startswith("-") else neutral(value)
    return value.isoformat() if isinstance(value, date) else str(value)


def xlsx_bytes(table: Table) -> bytes:
    """Give a table as a workbook of one sheet: figures as figures, words as words alone."""
    import openpyxl

    workbook = openpyxl.Workbook(write_only=False)
    sheet = workbook.active
    sheet.title = table.name[:LONGEST_SHEET_NAME]
    for place, row in enumerate([table.heads, *table.values], start=1):
        for column, value in enumerate(row, start=1):
            if value is not None:
                _fill(sheet.cell(place, column), value)
    sheet.freeze_panes = "A2"
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


def _fill(cell: object, value: Value) -> None:
    """Put a value into a cell; text stays text, whatever it begins with."""
    if isinstance(value, str):
        cell.value = _UNWRITABLE.sub("", value)  # type: ignore[attr-defined]  # openpyxl has no types
        cell.data_type = "s"  # type: ignore[attr-defined]  # as above
        cell.quotePrefix = True  # type: ignore[attr-defined]  # as above
    else:
        cell.value = float(value) if isinstance(value, Decimal) else value  # type: ignore[attr-defined]  # as above


def offer(table: Table) -> None:
    """Offer a table as both files; each is made when it is asked for."""
    with st.container(key=f"files-{table.name}", horizontal=True, vertical_alignment="center"):
        for label, mime, make in (("CSV", "text/csv", csv_bytes), ("XLSX", XLSX, xlsx_bytes)):
            st.download_button(
                label,
                lambda make=make: make(table),
                file_name=f"{table.name}.{label.lower()}",
                mime=mime,
                key=f"file-{table.name}-{label}",
                on_click="ignore",
                icon=":material/download:",
                help=f"This table as {label}",
            )
