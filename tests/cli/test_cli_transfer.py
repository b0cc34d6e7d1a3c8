from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from workbench import TAG, Run, snapshot

LOG = f"Date;Tag;Km;Work\n2026-02-03;{TAG};1350;chain cleaned\n2026-03-03;{TAG};2400;\n"
MAPPING = """
[when]
column = "Date"
[bike]
tag = "Tag"
[actor]
value = "m1"
[[event]]
kind = "distance_read"
[event.fields]
odometer = { column = "Km", unit = "km" }
"""


@pytest.fixture
def log(shop: Run) -> Run:
    """A shop with a log and its mapping beside the book."""
    Path("log.csv").write_text(LOG)
    Path("log.toml").write_text(MAPPING)
    return shop


def test_a_log_is_brought_in_once(log: Run) -> None:
    """A log is recorded by its mapping, and bringing it in again adds nothing."""
    done = log("import", "log.csv", "--mapping", "log.toml")
    assert (done.code, done.err) == (0, "")
    assert "Recorded 2 rows as 2 events" in done.out
    assert log("state", TAG, "--json").json["distance_km"] == 2400
    before = snapshot(Path("book"))
    again = log("import", "log.csv", "--mapping", "log.toml")
    assert again.code == 0
    assert "Passed over 2 rows" in again.out
    assert snapshot(Path("book")) == before


def test_a_dry_run_records_nothing(log: Run) -> None:
    """--dry-run says what would be recorded, and changes nothing on disk."""
    before = snapshot(Path("book"))
    done = log("import", "log.csv", "--mapping", "log.toml", "--dry-run", "--json")
    assert done.code == 0
    assert (done.json["is_dry_run"], done.json["recorded"]) == (True, 2)
    assert snapshot(Path("book")) == before
    assert not list(Path().glob("*rejected*"))


def test_rows_that_cannot_be_taken_are_set_aside(log: Run) -> None:
    """A bad row ends with 1, stands in the file beside with its reason; the good are recorded."""
    Path("log.csv").write_text(LOG + f"2026-04-01;{TAG};nonsense;\n")
    done = log("import", "log.csv", "--mapping", "log.toml")
    assert done.code == 1
    assert "Recorded 2 rows" in done.out
    assert "row 4: " in done.err
    assert "log.csv.rejected.csv" in done.err
    assert "nonsense" in Path("log.csv.rejected.csv").read_text()


def test_without_a_mapping_a_guess_is_pointed_to(log: Run) -> None:
    """Without a mapping, and nobody to ask, nothing is recorded and --guess is named."""
    done = log("import", "log.csv")
    assert done.code == 2
    assert "--guess" in done.err


def test_a_guess_can_be_used_as_it_is(log: Run) -> None:
    """The guessed mapping of a plain log is TOML that brings the log in."""
    guess = log("import", "log.csv", "--guess")
    assert guess.code == 0, guess.err
    Path("guess.toml").write_text(guess.out)
    done = log("import", "log.csv", "--mapping", "guess.toml")
    assert done.code == 0, done.err
    assert log("state", TAG, "--json").json["distance_km"] == 2400


@pytest.mark.parametrize(
    "arguments",
    [
        ("import", "nowhere.csv", "--mapping", "log.toml"),
        ("import", "log.csv", "--mapping", "nowhere.toml"),
        ("import", "log.csv", "--mapping", "log.csv"),
        ("import", "book", "--mapping", "log.toml"),
        ("import", "nowhere.jsonl", "--own"),
    ],
)
def test_what_cannot_be_read_is_a_problem(log: Run, arguments: tuple[str, ...]) -> None:
    """A file or mapping that is not there or is something else ends with 1, and says so."""
    done = log(*arguments)
    assert done.code == 1, done.err
    assert done.err.strip()
    assert "not foreseen" not in done.err


def test_an_export_comes_back_the_same(log: Run) -> None:
    """An export brought into an empty book gives the same state, seq and root."""
    log("record", "treated", "--bike", TAG, "--position", "chain", "--set", "treatment=cleaned",
        "--note", "salt")  # fmt: skip
    assert log("import", "log.csv", "--mapping", "log.toml").code == 0
    at = ("--as-at", "2026-06-01", "--json")
    before = log("state", TAG, *at).json
    assert log("export", "--out", "events.jsonl").code == 0
    assert log("init", "copy", "--shop", "quay", "--time-zone", "Europe/Lisbon").code == 0
    done = log("import", "events.jsonl", "--own", "--json", "--book", "copy")
    assert done.code == 0, done.err
    assert log("state", TAG, *at, "--book", "copy").json == before
    assert done.json["root"] == log("verify", "--json").json["root"]
    assert log("verify", "--book", "copy").code == 0


def test_an_own_import_needs_an_empty_book(log: Run) -> None:
    """--own into a book that holds events is refused, and the book stays as it was."""
    assert log("export", "--out", "events.jsonl").code == 0
    before = snapshot(Path("book"))
    assert log("import", "events.jsonl", "--own").code == 1
    assert snapshot(Path("book")) == before


def test_export_to_stdout_is_json_lines(log: Run) -> None:
    """Without --out every event stands on stdout, one line each, in the order of seq."""
    done = log("export")
    lines = [json.loads(line) for line in done.out.splitlines()]
    assert [line["seq"] for line in lines] == [1, 2]
    assert lines[1]["type"] == "lockring.bike_registered.v1"


def test_export_forms_hold_every_event(log: Run) -> None:
    """CSV and Parquet hold the same two events."""
    assert log("export", "--form", "parquet", "--out", "events.parquet").code == 0
    assert pq.read_table("events.parquet").num_rows == 2
    rows = list(csv.DictReader(io.StringIO(log("export", "--form", "csv").out)))
    assert [row["kind"] for row in rows] == ["mechanic_registered", "bike_registered"]


def test_export_in_clear_says_what_is_lost(log: Run) -> None:
    """--clear opens free text, and says that the roots are not kept."""
    log("record", "noted", "--bike", TAG, "--position", "chain", "--note", "wax only")
    assert "wax only" not in log("export").out
    done = log("export", "--clear")
    assert "wax only" in done.out
    assert "roots" in done.err


def test_export_never_writes_over_a_file_unasked(log: Run) -> None:
    """An existing file is left alone, unless --replace is given."""
    Path("events.jsonl").write_text("mine")
    assert log("export", "--out", "events.jsonl").code == 1
    assert Path("events.jsonl").read_text() == "mine"
    assert log("export", "--out", "events.jsonl", "--replace").code == 0
    assert log("export", "--out", ".", "--replace").code == 1
    assert log("export", "--out", "nowhere/events.jsonl").code == 1
    assert sorted(path.name for path in Path().iterdir()) == [
        "book", "events.jsonl", "log.csv", "log.toml",
    ]  # fmt: skip


def test_verify_finds_a_flipped_byte(log: Run) -> None:
    """verify ends with 0 on a whole book, and with 1 where one byte of any file changed."""
    assert log("verify").code == 0
    first = sorted(Path("book/events").iterdir())[0]
    content = bytearray(first.read_bytes())
    content[len(content) // 3] ^= 4
    first.chmod(0o644)
    first.write_bytes(content)
    done = log("verify")
    assert done.code == 1
    assert first.name in done.err
