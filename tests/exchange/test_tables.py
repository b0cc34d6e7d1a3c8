from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from makers import a_file

from ledger.errors import UnreadableInput
from ledger.exchange import workbook
from ledger.exchange.tables import open_table
from ledger.exchange.workbook import Exact

LOG = "Datum;Gewicht;Prijs\r\n1-2-2020;Bremsbeläge;€ 12,50\r\n"


@pytest.mark.parametrize(
    ("encoding", "found"),
    [
        ("utf-8", "utf-8"),
        ("utf-8-sig", "utf-8-sig"),
        ("utf-16", "utf-16"),
        ("utf-16-le", "utf-16-le"),
        ("utf-16-be", "utf-16-be"),
        ("cp1252", "windows-1252"),
    ],
)
def test_encodings_are_detected(tmp_path: Path, encoding: str, found: str) -> None:
    """Text in UTF-8 (with and without mark), UTF-16 and Windows-1252 is read the same."""
    table = open_table(a_file(tmp_path, LOG, encoding=encoding))
    assert table.form == f"CSV, {found}, ';'"
    assert table.columns == ("Datum", "Gewicht", "Prijs")
    assert [row.cells for row in table.read()] == [("1-2-2020", "Bremsbeläge", "€ 12,50")]


def test_windows_1252_is_seen_however_late_it_shows(tmp_path: Path) -> None:
    """A single byte that is no UTF-8 after 3 MB of plain text makes the file Windows-1252."""
    text = "a,b\n" + "1,2\n" * 800_000 + "é,3\n"
    table = open_table(a_file(tmp_path, text, encoding="cp1252"))
    assert table.form.startswith("CSV, windows-1252")


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_delimiters_are_detected(tmp_path: Path, delimiter: str) -> None:
    """The delimiter is the sign that cuts every row into the same number of cells."""
    rows = [["Date", "Work", "Price"], ["2020-01-02", "a; b, c | d", "1,5"], ["2020-01-03", "", ""]]
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(rows)
    table = open_table(a_file(tmp_path, out.getvalue()))
    assert [list(table.columns), *(list(row.cells) for row in table.read())] == rows


cells = st.text(st.characters(codec="utf-8", exclude_characters="\x00\r\n"), max_size=8)


@given(st.lists(st.lists(cells, min_size=2, max_size=2), min_size=1, max_size=8))
def test_what_the_standard_writer_writes_is_read_back(
    tmp_path_factory: pytest.TempPathFactory, rows: list[list[str]]
) -> None:
    """Any rows written as RFC 4180 by the standard library come back cell by cell."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n", quoting=csv.QUOTE_ALL, doublequote=True)
    writer.writerows([["Date", "Work"], *rows])
    path = a_file(tmp_path_factory.mktemp("csv"), out.getvalue())
    table = open_table(path, encoding="utf-8", delimiter=",")
    filled = [tuple(row) for row in rows if any(cell.strip() for cell in row)]
    assert [row.cells for row in table.read()] == filled


def test_line_breaks_stand_in_quoted_cells_and_rows_keep_their_numbers(tmp_path: Path) -> None:
    """A quoted cell may hold line breaks, and a row is called by the line it begins on."""
    table = open_table(a_file(tmp_path, 'Date,Work\n1,"two\nlines"\n\n2,"3 "" of 4"\n'))
    assert [(row.number, row.cells) for row in table.read()] == [
        (2, ("1", "two\nlines")),
        (5, ("2", '3 " of 4')),
    ]


def test_rows_that_are_not_rows_are_told_and_the_next_are_read(tmp_path: Path) -> None:
    """Bad quoting and stray cells spoil their own row, are kept as they stand, and say why."""
    text = 'Date,Work\n1,"a"b\n2,c\n3,d,e\n4\n5,"never closed\n6,f\n'
    rows = list(open_table(a_file(tmp_path, text)).read())
    assert [(row.number, row.cells[0]) for row in rows if not row.problem] == [(3, "2"), (5, "4")]
    assert [(row.number, row.cells, row.problem) for row in rows if row.problem] == [
        (2, ('1,"a"b', ""), "text follows a closing quote; double a quote that is meant as such"),
        (
            4,
            ("3", "d, e"),
            "has 3 cells where there are 2 columns; quote cells that hold the delimiter",
        ),
        (
            6,
            ('5,"never closed\n6,f', ""),
            "a quote opened in line 6 is never closed; close it, or double it",
        ),
    ]


def test_columns_get_names_of_their_own(tmp_path: Path) -> None:
    """Columns of one name are numbered, and a column without one is called by its place."""
    table = open_table(a_file(tmp_path, "Price,,Price,\n1,2,3,\n"))
    assert table.columns == ("Price", "column 2", "Price (2)")


@pytest.mark.parametrize(
    ("content", "why"),
    [
        (b"", "has no row of column names"),
        (b"\n\n \n", "has no row of column names"),
        (b"a,b\n\x00\x01,2\n" * 9, "is not a text table"),
        (b"a,b\n\x81\x8d,2\n", "is not windows-1252 text"),
        (b'"a,b\n1,2\n', "is never closed"),
    ],
)
def test_a_file_that_is_no_table_is_refused(tmp_path: Path, content: bytes, why: str) -> None:
    """What is no table is refused as a whole, saying why."""
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    with pytest.raises(UnreadableInput, match=why):
        list(open_table(path).read())


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """A path with no file is refused by name."""
    with pytest.raises(UnreadableInput, match=r"There is no file .*gone\.csv"):
        open_table(tmp_path / "gone.csv")


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """A workbook with typed cells, a blank row, and a second sheet."""
    book = openpyxl.Workbook()
    first = book.active
    assert first is not None
    first.title = "Log"
    first.append(["Date", "km", "Text", "Time", "Done"])
    first.append([dt.date(2016, 4, 15), 133.1, "1.234,5", dt.time(9, 30), True])
    first.append([])
    first.append([dt.datetime(2016, 4, 16, 10, 3), 1350, "=not a formula", None, False])
    first["C4"].data_type = "s"
    book.create_sheet("Other").append(["A"])
    path = tmp_path / "log.xlsx"
    book.save(path)
    return path


@pytest.mark.parametrize("largest", [100_000_000, 0])
def test_xlsx_cells_keep_what_they_are(
    sheet: Path, largest: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Typed cells come as exact text, marked as such, whether a sheet is held or streamed."""
    monkeypatch.setattr(workbook, "LARGE_SHEET_BYTES", largest)
    table = open_table(sheet)
    rows = list(table.read())
    assert table.columns == ("Date", "km", "Text", "Time", "Done")
    assert [row.number for row in rows] == [2, 4]
    assert rows[0].cells == ("2016-04-15", "133.1", "1.234,5", "09:30:00", "yes")
    assert rows[1].cells == ("2016-04-16T10:03:00", "1350", "=not a formula", "", "no")
    typed = [isinstance(cell, Exact) for cell in rows[0].cells]
    assert typed == [True, True, False, True, False]


def test_a_sheet_is_chosen_by_name(sheet: Path) -> None:
    """A sheet is read by its name, and an unknown one is refused with those there are."""
    assert open_table(sheet, sheet="Other").columns == ("A",)
    with pytest.raises(UnreadableInput, match=r"has no sheet 'Lgo'\. It has 'Log'"):
        open_table(sheet, sheet="Lgo")


def test_a_damaged_workbook_is_refused(tmp_path: Path) -> None:
    """A file that only calls itself XLSX is refused, saying what to do."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(b"PK\x03\x04 and then nothing")
    with pytest.raises(UnreadableInput, match="cannot be read as XLSX"):
        open_table(path)
