"""Tables of a page as files, CSV and XLSX: written as the command line writes them."""

from __future__ import annotations

import streamlit as st

from dashboard.labour_table import Table
from ledger.exchange import sheets

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def csv_bytes(table: Table) -> bytes:
    """Give a table as CSV (RFC 4180: commas, CRLF, quotes doubled), in UTF-8."""
    return sheets.csv_bytes(_sheet(table))


def xlsx_bytes(table: Table) -> bytes:
    """Give a table as a workbook of one sheet: figures as figures, words as words alone."""
    return sheets.xlsx_bytes([_sheet(table)])


def _sheet(table: Table) -> sheets.Sheet:
    return sheets.Sheet(table.name, tuple(table.heads), tuple(map(tuple, table.values)))


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
