from __future__ import annotations

import io
import json
from pathlib import Path

import pikepdf
import pytest
from typer.testing import CliRunner
from workbench import TAG, Run


@pytest.fixture
def visited(shop: Run) -> Run:
    """A shop with one bike and one visit, a chain read in it."""
    book_in = ("--bike", TAG, "--job", "J-1", "--at")
    done = shop("record", "job_opened", *book_in, "2026-03-02 09:00", "--set", "complaint=creaks")
    assert done.code == 0, done.err
    read = ("--position", "chain", "--quantity", "elongation", "--value", "0.2 %")
    done = shop("record", "measured", *book_in, "2026-03-02 10:00", *read)
    assert done.code == 0, done.err
    return shop


def test_the_page_is_written_and_named(visited: Run) -> None:
    """One sheet of PDF, and a line that says whose visit it is of."""
    done = visited("report", TAG, "--out", "page.pdf")
    assert (done.code, done.err) == (0, "")
    assert done.out == f"Wrote the page of Tern & Tide, {TAG}, job J-1, to page.pdf.\n"
    assert len(pikepdf.open("page.pdf").pages) == 1
    assert [path.name for path in Path().iterdir() if path.suffix != ""] == ["page.pdf"]


def test_a_file_that_is_there_is_kept_unless_force_is_given(visited: Run) -> None:
    """Nothing is written over by mistake, and the message says how it would be."""
    Path("page.pdf").write_text("mine")
    refused = visited("report", TAG, "--out", "page.pdf")
    assert refused.code == 1
    assert "page.pdf is already there" in refused.err and "--force" in refused.err
    assert Path("page.pdf").read_text() == "mine"
    assert visited("report", TAG, "--out", "page.pdf", "--force").code == 0
    assert Path("page.pdf").read_bytes().startswith(b"%PDF-")


def test_where_no_file_can_be_written_is_named(visited: Run) -> None:
    """A folder that is not there, and one given as the file, by the names that were typed."""
    nowhere = visited("report", TAG, "--out", "nowhere/page.pdf")
    assert nowhere.code == 1 and ".part" not in nowhere.err
    assert "There is no folder nowhere to write page.pdf into" in nowhere.err
    Path("pages").mkdir()
    folder = visited("report", TAG, "--out", "pages", "--force")
    assert folder.code == 1 and ".part" not in folder.err
    assert "pages is a folder" in folder.err and "pages/page.pdf" in folder.err


def test_letters_the_page_cannot_print_are_named(visited: Run) -> None:
    """Signs that no bundled face has; Greek and Cyrillic are printed and not complained of."""
    look = ("--bike", TAG, "--job", "J-1", "--at", "2026-03-02 11:00", "--position", "frame")
    note = "note=\u8eca\u4f53 \u03ba\u03b1\u03bb\u03cc \u0440\u0430\u043c\u0430"
    done = visited("record", "inspected", *look, "--set", "verdict=watch", "--set", note)
    assert done.code == 0, done.err
    done = visited("report", TAG, "--out", "page.pdf")
    assert done.code == 0 and "do not include \u8eca, \u4f53: each is printed as" in done.err


def test_a_dash_writes_the_page_to_stdout(visited: Run) -> None:
    """For another program: the bytes of the PDF and nothing else."""
    from ledger.cli.app import app

    done = CliRunner().invoke(app, ["report", TAG, "--out", "-"], prog_name="lockring")
    assert done.exit_code == 0
    assert len(pikepdf.open(io.BytesIO(done.stdout_bytes)).pages) == 1


def test_json_gives_the_page_as_plain_data(visited: Run) -> None:
    """What is printed, for other programs: with the receipt of the book as it stands."""
    told = visited("report", TAG, "--json").json
    assert (told["job"], told["is_open"], told["asked"]) == ("J-1", True, ["Creaks"])
    assert told["measured"][0]["verdict"] == "within limit"
    assert told["receipt"]["size"] == 4 and len(told["receipt"]["root"]) == 64
    assert not {"cost", "minutes", "actor"} & set(json.dumps(told).replace('"', " ").split())


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        ((TAG,), 2, "--out"),
        ((TAG, "--out", "-", "--json"), 2, "choose one"),
        ((TAG, "--job", "J-9", "--json"), 1, "Its newest are J-1"),
        (("7K3M9QXB", "--json"), 1, TAG),
    ],
)
def test_wrong_use_says_what_would_be_right(
    visited: Run, arguments: tuple[str, ...], code: int, said: str
) -> None:
    """No file named, two things for stdout, a job and a tag that are not there."""
    done = visited("report", *arguments)
    assert done.code == code
    assert said in done.err


def test_a_bike_never_booked_in_has_no_page(shop: Run) -> None:
    """It says so, and writes no file."""
    done = shop("report", TAG, "--out", "page.pdf")
    assert done.code == 1
    assert "has not been booked in" in done.err
    assert not Path("page.pdf").exists()
