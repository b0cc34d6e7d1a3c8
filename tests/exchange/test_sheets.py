"""Tables for a spreadsheet: nothing is taken for a formula, nothing is rounded, nothing is lost."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import openpyxl
import pytest

from ledger.errors import LedgerError
from ledger.exchange import sheets
from ledger.exchange.sheets import Sheet, csv_bytes, xlsx_bytes

FORMULAS = ('=1+1', '+1', '-x', '@sum', '\t=1', '=HYPERLINK("http://quay.example")')  # fmt: skip


def read_csv(sheet: Sheet) -> list[list[str]]:
    return list(csv.reader(io.StringIO(csv_bytes(sheet).decode("utf-8"), newline="")))


def read_xlsx(*some: Sheet) -> Any:
    return openpyxl.load_workbook(io.BytesIO(xlsx_bytes(some)))


def test_csv_guards_text_that_looks_like_a_formula() -> None:
    """An apostrophe before it, in rows and in names of columns; negative figures stay figures."""
    sheet = Sheet("t", ("=a",), tuple((text,) for text in FORMULAS))
    head, *rows = read_csv(sheet)
    assert head == ["'=a"]
    assert [row[0] for row in rows] == [f"'{text}" for text in FORMULAS]
    assert read_csv(Sheet("t", ("a", "b"), ((-5, Decimal("-1.50")),)))[1] == ["-5", "-1.50"]


def test_xlsx_holds_text_that_looks_like_a_formula_as_text() -> None:
    """Its cells are of the kind text, in rows and in names of columns."""
    found = read_xlsx(Sheet("t", ("=a",), tuple((text,) for text in FORMULAS)))["t"]
    assert [cell.data_type for (cell,) in found.iter_rows()] == ["s"] * (len(FORMULAS) + 1)
    assert [cell.value for (cell,) in found.iter_rows(min_row=2)] == list(FORMULAS)


def test_text_that_is_a_figure_stays_text() -> None:
    """Somebody named a thing -1: it is not a figure in either file, now or edited again."""
    sheet = Sheet("t", ("a", "b"), (("-1", "quay"),))
    assert read_csv(sheet)[1] == ["'-1", "quay"]
    typed, plain = read_xlsx(sheet)["t"][2]
    assert (typed.value, typed.data_type, typed.quotePrefix) == ("-1", "s", True)
    assert not plain.quotePrefix


def test_csv_writes_every_kind_of_cell_whole() -> None:
    """Nothing for none, days and instants in ISO form, every digit of a figure."""
    at = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
    row = (
        None,
        True,
        7,
        0.1 + 0.2,
        Decimal("1.250"),
        date(2026, 3, 1),
        at,
        float("nan"),
        'a "b",\nc',
    )
    names = tuple("abcdefghi")
    assert read_csv(Sheet("t", names, (row,)))[1] == [
        "", "true", "7", "0.30000000000000004", "1.250", "2026-03-01",
        "2026-03-01T09:30:00+00:00", "", 'a "b",\nc',
    ]  # fmt: skip


@pytest.mark.parametrize(("text", "shown"), [("12.50", "0.00"), ("1250", "0"), ("1.250", "0.000")])
def test_xlsx_shows_an_amount_in_its_currencys_digits(text: str, shown: str) -> None:
    """Of two digits, none, and three; and it is a number."""
    (cell,) = read_xlsx(Sheet("t", ("a",), ((Decimal(text),),)))["t"][2]
    assert (cell.data_type, cell.number_format) == ("n", shown)
    assert Decimal(str(cell.value)) == Decimal(text)


def test_xlsx_keeps_days_and_the_wall_clock() -> None:
    """Instants lose their zone, not their time; NaN and None are empty."""
    at = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
    row = (date(2026, 3, 1), at, float("nan"), None, True)
    found = next(read_xlsx(Sheet("t", tuple("abcde"), (row,)))["t"].iter_rows(
        min_row=2, values_only=True
    ))  # fmt: skip
    assert found == (datetime(2026, 3, 1), datetime(2026, 3, 1, 9, 30), None, None, True)


def test_xlsx_takes_any_name_and_any_text() -> None:
    """Names are cut and told apart; signs a sheet cannot hold are replaced; long text is cut."""
    rows = (("a\x00b\x1bc",), ("x" * 40_000,))
    some = [
        Sheet(name, ("a",), rows) for name in ("jobs: a/b", "jobs  a b", "n" * 40, "N" * 40, "")
    ]
    book = read_xlsx(*some)
    assert book.sheetnames == ["jobs a b", "jobs a b 2", "n" * 31, "N" * 29 + " 2", "table"]
    values = [value for (value,) in book["jobs a b"].iter_rows(min_row=2, values_only=True)]
    assert values[0] == "a\ufffdb\ufffdc" and len(values[1]) == sheets.LONGEST_TEXT


def test_more_rows_than_a_sheet_holds_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """With what to do instead; CSV takes them."""
    monkeypatch.setattr(sheets, "MOST_ROWS", 2)
    sheet = Sheet("jobs", ("a",), ((1,), (2,), (3,)))
    with pytest.raises(LedgerError, match=r"jobs has 3 rows.*write it as CSV"):
        xlsx_bytes([sheet])
    assert len(read_csv(sheet)) == 4


def test_a_table_without_rows_keeps_its_columns() -> None:
    """In both forms."""
    sheet = Sheet("t", ("a", "b"), ())
    assert read_csv(sheet) == [["a", "b"]]
    assert list(read_xlsx(sheet)["t"].iter_rows(values_only=True)) == [("a", "b")]
