"""Workbooks made to bring a reader down are refused in a line, within the memory of a small one."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from odd_workbooks import SHEET, lying, sheet, workbook

from ledger.errors import UnreadableInput
from ledger.exchange import workbook as reading
from ledger.exchange.unpacking import MOST_COLUMNS, extent_of

FEW_BYTES = 1_500_000_000
"""Address space of a reader: what Python, its libraries and a usual sheet need, and little more."""
_READ = """
import resource, sys
from pathlib import Path
from ledger.exchange import workbook
resource.setrlimit(resource.RLIMIT_AS, (int(sys.argv[2]), int(sys.argv[2])))
try:
    print(sum(1 for _ in workbook.read(Path(sys.argv[1]), None)))
except Exception as error:
    print(type(error).__name__, error)
"""


def told(path: Path) -> str:
    """Read a workbook in a process that has little memory; gives what it said."""
    command = [sys.executable, "-c", _READ, str(path), str(FEW_BYTES)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120)
    assert done.returncode == 0, (done.returncode, done.stderr[-500:])
    return done.stdout


FAR = 'r="XFD1048576"'


@pytest.mark.parametrize(
    "rows",
    [
        f'<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c {FAR}><v>1</v></c></row>',
        f'<row r="1"><c r="A1"><v>1</v></c><c s="{"0" * 3000}" {FAR}><v>1</v></c></row>',
        '<row><c foo=">" r="XFD9"><v>1</v></c></row>',
        "<row><c r='xfd9'><v>1</v></c></row>",
        "<x:row xmlns:x='a'><x:c r = 'XFD9'/></x:row>",
        "<row>" + "<c><v>1</v></c>" * (MOST_COLUMNS + 1) + "</row>",
        "<row><c a='r=\"A1\"' r='XFD9'><v>1</v></c></row>",
    ],
)
def test_a_cell_far_to_the_right_is_refused(tmp_path: Path, rows: str) -> None:
    """However its address is written, no room is made for the cells before it."""
    assert "a log has at most 2,000 columns" in told(workbook(tmp_path / "far.xlsx", rows))


def test_a_cell_far_below_is_read_a_row_at_a_time(tmp_path: Path) -> None:
    """A million empty rows between two that are not take time, and no memory."""
    rows = '<row r="1"><c r="ZZ1"><v>1</v></c></row><row r="1000000"><c r="A1000000"/></row>'
    assert told(workbook(tmp_path / "deep.xlsx", rows)).strip() == "1000000"


def test_texts_that_unpack_without_end_are_refused(tmp_path: Path) -> None:
    """A file of less than a megabyte that holds 700 MB of texts."""
    pieces = (b"<si><t>" + b"a" * 1_000_000 + b"</t></si>" for _ in range(700))
    path = workbook(tmp_path / "texts.xlsx", "<row><c t='s'><v>0</v></c></row>", pieces)
    assert path.stat().st_size < 1_000_000
    assert "unpacks to more than any log is" in told(path)


def test_a_file_that_lies_about_its_size_is_refused(tmp_path: Path) -> None:
    """What a part says it unpacks to is not believed."""
    rows = '<row r="1"><c r="A1"><v>1</v></c></row>' * 100_000
    path = lying(workbook(tmp_path / "lies.xlsx", rows), SHEET, 400)
    assert "cannot be read as XLSX" in told(path)


@pytest.mark.parametrize(
    "part",
    [
        '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "1"><!ENTITY b "&a;&a;&a;&a;">]>'
        "<worksheet><sheetData><row><c><v>&b;</v></c></row></sheetData></worksheet>",
        '<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/hostname">]>'
        "<worksheet><sheetData><row><c><v>&a;</v></c></row></sheetData></worksheet>",
        sheet("<row><c r='XFD1048576'/></row>").replace("UTF-8", "UTF-16").encode("utf-16"),
        sheet("<row><c r='XFD1048576'/></row>").replace("UTF-8", "UTF-16").encode("utf-16-be"),
    ],
)
def test_words_of_its_own_are_refused(tmp_path: Path, part: str | bytes) -> None:
    """Entities, outside files and other encodings: no spreadsheet writes them."""
    content = part if isinstance(part, bytes) else part.encode()
    assert "what no spreadsheet writes" in told(workbook(tmp_path / "own.xlsx", content))


def test_a_tag_that_does_not_end_is_refused(tmp_path: Path) -> None:
    """Ten megabytes of one tag, and as many beginnings of tags, are told within seconds."""
    for rows in ("<c " + "a" * 10_000_000, "<c " * 3_000_000):
        said = told(workbook(tmp_path / "endless.xlsx", rows))
        assert "UnreadableInput" in said


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(1, 40), st.integers(1, 60), st.booleans()), min_size=1, max_size=30
    )
)
def test_the_extent_is_that_of_the_cells(
    tmp_path_factory: pytest.TempPathFactory, cells: list[tuple[int, int, bool]]
) -> None:
    """With addresses or without, rows and columns reach as far as counted one by one."""
    rows, last_row, last_column = "", 0, 0
    for gap, column, has_address in cells:
        last_row = last_row + gap if has_address else last_row + 1
        last_column = max(last_column, column if has_address else 1)
        letters = f"{chr(64 + (column - 1) // 26) if column > 26 else ''}"
        letters += chr(65 + (column - 1) % 26)
        at = f' r="{last_row}"' if has_address else ""
        rows += f"<row{at}><c" + (f' r="{letters}{last_row}"' if has_address else "") + "/></row>"
    path = workbook(tmp_path_factory.mktemp("some") / "some.xlsx", rows)
    found = extent_of(path)
    assert (found.count_rows, found.count_columns) == (last_row, last_column)


def test_a_usual_sheet_is_held_and_read(tmp_path: Path) -> None:
    """The guards are in nobody's way."""
    path = workbook(tmp_path / "log.xlsx", '<row r="1"><c r="A1" t="s"><v>0</v></c></row>')
    assert list(reading.read(path, None)) == [(1, ("km",))]
    with pytest.raises(UnreadableInput, match="no sheet"):
        list(reading.read(path, "Lgo"))
