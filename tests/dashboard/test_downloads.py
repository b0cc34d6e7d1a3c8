"""Tables as files: what a CSV and a workbook hold, read back by others."""

from __future__ import annotations

import csv
import io
from datetime import date
from decimal import Decimal

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.downloads import csv_bytes, xlsx_bytes
from dashboard.labour_table import Cell, Column, Table, link, word

FORMULAS = ("=1+1", "+1", "-1", "@sum", "\t=1", "\r=1")


def table(*values: object) -> Table:
    """Give a table of one column."""
    rows = tuple((Cell(value, "shown"),) for value in values)
    return Table("one", (Column("Head", "EUR"),), rows)


def read_csv(made: bytes) -> list[list[str]]:
    """Give the rows of a CSV as Python's own reader has them."""
    return list(csv.reader(io.StringIO(made.decode("utf-8"), newline="")))


def test_a_csv_is_as_the_standard_has_it() -> None:
    """Commas, CRLF after every line, and cells with a comma, a quote or a line end in quotes.

    Source: RFC 4180, section 2, rules 1, 2 and 5 to 7.
    """
    made = csv_bytes(table("a,b", 'say "yes"', "two\nlines", "plain"))
    assert made == b'Head (EUR)\r\n"a,b"\r\n"say ""yes"""\r\n"two\nlines"\r\nplain\r\n'


@pytest.mark.parametrize("typed", FORMULAS)
def test_no_text_is_run_as_a_formula(typed: str) -> None:
    """Text that begins with = + - @ or a tab begins with an apostrophe in CSV, and is text in XLSX.

    Source: OWASP, CSV injection.
    """
    assert read_csv(csv_bytes(table(typed)))[1] == [f"'{typed}"]
    cell = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(table(typed)))).active["A2"]
    assert cell.data_type == "s"
    assert cell.value.replace("_x000D_", "\r").strip() == typed.strip()
    assert cell.quotePrefix


def test_figures_stay_figures() -> None:
    """Minus twelve is a figure in both files, money has its decimals, and a day is a day."""
    of = table(-12, Decimal("10.50"), date(2026, 3, 1), None)
    assert read_csv(csv_bytes(of))[1:] == [["-12"], ["10.50"], ["2026-03-01"], [""]]
    sheet = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(of))).active
    assert [sheet.cell(row, 1).value for row in (2, 3)] == [-12, 10.5]
    assert sheet["A4"].value.date() == date(2026, 3, 1)
    assert sheet["A5"].value is None
    assert sheet["A3"].number_format == "0.00"


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=1, max_size=5))
def test_text_comes_back_from_csv_as_it_was(typed: list[str]) -> None:
    """Whatever was typed is read back, but for the apostrophe before what could be a formula."""
    rows = [row[0] if row else "" for row in read_csv(csv_bytes(table(*typed)))[1:]]
    for was, came in zip(typed, rows, strict=True):
        assert came in (was, f"'{was}")
        assert not came.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


def test_a_control_sign_does_not_break_the_workbook() -> None:
    """A sign that a workbook cannot hold is shown as one that could not be."""
    made = xlsx_bytes(table("bell\x07 rings"))
    assert openpyxl.load_workbook(io.BytesIO(made)).active["A2"].value == "bell\ufffd rings"


def test_the_page_shows_what_the_file_holds_and_no_markup_of_a_book() -> None:
    """Columns for the file alone are not drawn; words are escaped; a telephone leaves some out."""
    columns = (
        Column("Job"),
        Column("Code", is_shown=False),
        Column("Minutes", "min", True, room=1),
    )
    rows = ((link("<b>j", "time?job=1"), word("x"), Cell(5, "5\u00a0min")),)
    of = Table("jobs", columns, rows)
    page = of.html()
    assert "&lt;b&gt;j" in page
    assert "Code" not in page
    assert 'class="lk-right lk-room-1">5' in page
    assert read_csv(csv_bytes(of)) == [["Job", "Code", "Minutes (min)"], ["<b>j", "x", "5"]]


def test_a_long_table_is_cut_on_the_page_alone() -> None:
    """At most so many rows are drawn; the file holds them all."""
    of = table(*range(30))
    assert of.html(most=12).count("<tr>") == 13
    assert len(read_csv(csv_bytes(of))) == 31
