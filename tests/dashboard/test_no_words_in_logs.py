"""Nothing a rider is called, is reached by, or said ends in a log or in somebody else's error."""

from __future__ import annotations

import io
import json
import logging
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from app_page import BROKEN, Opener
from typer.testing import CliRunner

from dashboard.logged import keep_words_out, without_words
from ledger.book import Book
from ledger.cli.app import app

TAG, OTHER = "7K3M9QXA", "2B4D6F8H"
NAME, PHONE, EMAIL = "Ottilie Wrenfield", "+351 912 345 678", "ottilie@wrenfield.invalid"
WORDS = "Knocks on the cobbles by the fish hall"
PERSONAL = (NAME, "Ottilie", PHONE, "912 345", EMAIL, "ottilie@", WORDS, "fish hall")


@pytest.fixture
def logged() -> Iterator[io.StringIO]:
    """Everything any logger says, from DEBUG on, faults with it."""
    said, root = io.StringIO(), logging.getLogger()
    handler = logging.StreamHandler(said)
    before, factory = root.level, logging.getLogRecordFactory()
    others = [one for one in logging.root.manager.loggerDict.values()
              if isinstance(one, logging.Logger)]  # fmt: skip
    was = {one: (one.level, one.propagate) for one in others}
    for one in others:
        one.setLevel(logging.NOTSET)
        one.propagate = True
    root.setLevel(logging.DEBUG)
    root.addHandler(handler)
    yield said
    root.removeHandler(handler)
    root.setLevel(before)
    logging.setLogRecordFactory(factory)
    for one, (level, does_propagate) in was.items():
        one.setLevel(level)
        one.propagate = does_propagate


@pytest.fixture
def book(tmp_path: Path) -> Path:
    """A shop with one rider, whose words are about their bike, and a bike of somebody else."""
    path = tmp_path / "book"
    run("init", str(path), "--shop", "quay", "--mechanic", "m1")
    told = ("--name", NAME, "--phone", PHONE, "--email", EMAIL, "--id", "r-o", "--consent")
    run("riders", "add", *told, "--book", str(path))
    run("riders", "add", "--name", "Bram Next", "--id", "r-n", "--book", str(path))
    made = Book.open(path)
    for tag, rider in ((TAG, "r-o"), (OTHER, "r-n")):
        made.append(
            [
                of(tag, "bike_registered", speeds=9),
                of(tag, "rider_changed", rider=rider),
                of(tag, "part_fitted", position="chain", part=f"{tag}-c"),
            ]
        )
    made.append([of(TAG, "noted", position="fork", text=WORDS)])
    return path


def of(bike: str, kind: str, **data) -> dict:
    return {"kind": kind, "bike": bike, "actor": "m1", "data": data}


def run(*arguments: str, typed: str = "") -> str:
    """Run a command line; gives what it said on stderr."""
    result = CliRunner().invoke(app, list(arguments), input=typed, prog_name="lockring")
    assert "Traceback" not in result.output
    return result.stderr


def sealed_in(path: Path) -> list[str]:
    """Give every sealed text of a book, as it is stored."""
    found = []
    for _, _, canonical in Book.open(path).rows():
        data = json.loads(canonical)["data"]
        found += [
            one["sealed"] for one in data.values() if isinstance(one, dict) if "sealed" in one
        ]
    return found


def test_commands_log_and_say_nothing_personal_of_others(
    book: Path, tmp_path: Path, logged: io.StringIO
) -> None:
    """Recording, a log with a bad row, call list and page of another rider, and their errors."""
    at = ("--book", str(book))
    (tmp_path / "log.csv").write_text(f"Date;Tag;Km\n2026-02-03;{OTHER};nonsense\n;{TAG};12\n")
    (tmp_path / "log.toml").write_text(MAPPING)
    said = [
        run(
            "record",
            "noted",
            "--bike",
            TAG,
            "--set",
            "position=fork",
            "--set",
            f"text={PHONE}",
            *at,
        ),
        run("record", "part_fitted", "--bike", OTHER, "--set", "position=chain", *at),
        run("record", "measured", "--bike", TAG, "--set", "position=nowhere", *at),
        run("import", str(tmp_path / "log.csv"), "--mapping", str(tmp_path / "log.toml"), *at),
        run("due", *at),
        run("report", OTHER, "--out", str(tmp_path / "page.pdf"), *at),
        run("history", "NNNNNNNN", *at),
        run("forget", "r-nobody", "--yes", *at),
        run("verify", *at),
    ]
    told = logged.getvalue() + "".join(said)
    assert all(said[one] for one in (0, 1, 2, 3, 6, 7)), said
    assert "Warning" in said[0] and "nonsense" not in logged.getvalue()
    for wanted in (*PERSONAL, *sealed_in(book)):
        assert wanted not in told


def test_a_page_that_fails_is_logged_without_words(
    book: Path, opened: Opener, logged: io.StringIO, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where it failed is in the log, and what it failed over is not."""
    assert not opened(book, page="bike", tag=TAG).exception

    def fails(*given: object, **more: object) -> None:
        raise ValueError(f"{NAME} {PHONE} {WORDS}")

    monkeypatch.setattr("dashboard.data.timeline_entries", fails)
    page = "\n".join(one.proto.body for one in opened(book, page="bike", tag=TAG).get("html"))
    assert BROKEN in page
    said = logged.getvalue()
    assert "A page could not be drawn: ValueError at " in said and "in fails" not in said
    assert " fails" in said
    for wanted in (*PERSONAL, *sealed_in(book)):
        assert wanted not in said and wanted not in page


def test_a_fault_that_the_framework_logs_is_told_without_words_too(logged: io.StringIO) -> None:
    """With the faults it came of, each by its kind and place."""
    keep_words_out()
    keep_words_out()
    try:
        try:
            raise KeyError(NAME)
        except KeyError as error:
            raise RuntimeError(WORDS) from error
    except RuntimeError as error:
        assert without_words(error).startswith("RuntimeError at test_no_words_in_logs.py:")
        logging.getLogger("streamlit.error_util").error("Uncaught: %s", 7, exc_info=error)
        logging.getLogger("asyncio").exception("Task exception", exc_info=sys.exc_info())
    said = logged.getvalue()
    assert said.count("; after KeyError at ") == 2 and "Uncaught: 7: RuntimeError" in said
    assert not any(one in said for one in PERSONAL)


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
