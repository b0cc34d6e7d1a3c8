"""`lockring compact`, run as people run it."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

from ledger.book import Book
from ledger.cli.app import app
from ledger.storage import compaction

BIKE = "7K3M9QXA"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of nine commits."""
    folder = tmp_path_factory.mktemp("compact") / "book"
    book = Book.init(folder, shop="quay", clock=lambda: datetime(2024, 3, 1, tzinfo=UTC))
    book.append([{"kind": "mechanic_registered", "actor": "mia", "data": {"mechanic": "mia"}}])
    book.append([{"kind": "bike_registered", "bike": BIKE, "actor": "mia", "data": {}}])
    for km in range(10, 17):
        odometer = {"value": str(km), "unit": "km"}
        read = {
            "kind": "distance_read",
            "bike": BIKE,
            "actor": "mia",
            "data": {"odometer": odometer},
        }
        book.append([read])
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it, and blocks of 4 commits."""
    monkeypatch.setattr(compaction, "BLOCKS", (4,))
    return Path(shutil.copytree(made, tmp_path / "book"))


def run(folder: Path, *arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(app, [*arguments, "--book", str(folder)])
    return done.exit_code, done.output


def test_files_are_merged_and_stay_for_a_day(folder: Path) -> None:
    """It says how many files are read, and takes nothing away yet; a second time is a no-op."""
    code, said = run(folder, "compact")
    assert (code, said.splitlines()) == (0, ["The book is read from 3 files; before, from 9."])
    assert len(list((folder / "events").iterdir())) == 11
    assert run(folder, "compact")[1] == "Nothing to merge: the book is read from 3 files.\n"
    assert run(folder, "verify")[0] == 0


def test_now_takes_the_merged_files_away(folder: Path) -> None:
    """With --now only what is read is left, and the same events are in it."""
    before = [event.id for event in Book.open(folder).events()]
    code, said = run(folder, "compact", "--now")
    assert code == 0 and "Taken away, as larger files hold them too: 8 files." in said
    assert len(list((folder / "events").iterdir())) == 3
    assert [event.id for event in Book.open(folder).events()] == before


def test_what_was_done_as_json(folder: Path) -> None:
    """Files before and after, segments made, files taken away and left."""
    code, said = run(folder, "compact", "--now", "--json")
    told = json.loads(said)
    assert (code, told["files_before"], told["files_after"]) == (0, 9, 3)
    assert [len(told[name]) for name in ("segments", "removed", "left")] == [2, 8, 0]


def test_the_root_it_left_is_signed(folder: Path) -> None:
    """The witness file gains a line, which a later rewrite of the book would not fit."""
    run(folder, "compact")
    (line,) = (folder / "witness.txt").read_text().splitlines()
    assert Book.open(folder).head.root in line


def test_a_file_that_is_left_is_named(folder: Path) -> None:
    """What a recording that was broken off left under a merged number is left, and said."""
    events = folder / "events"
    other = (events / "c-000000000005.parquet").read_bytes()
    run(folder, "compact", "--now")
    (events / "c-000000000002.parquet").write_bytes(other)
    code, said = run(folder, "compact", "--now")
    assert code == 0 and "c-000000000002.parquet was left where it is" in said
    code, said = run(folder, "verify", "--quick")
    assert code == 1 and "c-000000000002.parquet" in said and "1 problem" in said


def test_damage_is_one_clear_line(folder: Path) -> None:
    """A damaged commit is named, nothing is merged, and no traceback is shown."""
    path = folder / "events" / "c-000000000002.parquet"
    content = bytearray(path.read_bytes())
    content[300] ^= 8
    path.write_bytes(content)
    code, said = run(folder, "compact", "--now")
    assert code == 1 and "c-000000000002.parquet is damaged" in said and "Traceback" not in said
    assert len(list((folder / "events").iterdir())) == 9
