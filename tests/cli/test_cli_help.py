from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import typer.main
from workbench import TAG, Run

from ledger.cli.app import app

OTHER = "4T2N8RWE"
STRUCK = "0190f0c6-8a2b-7c3d-9e4f-5a6b7c8d9e0f"
LINE = (
    '{{"specversion": "1.0", "id": "{id}", "source": "/shops/quay", '
    '"type": "lockring.inspected.v1", "subject": "{bike}", "time": "2026-03-01T09:12:00Z", '
    '"actor": "m1", "data": {{"position": "chain", "verdict": "within limit"}}}}\n'
)
LOG = "Date;Tag;Km;Work\n2026-02-03;7K3M9QXA;1350;chain cleaned\n"
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
PIN = "482913"
NEEDS_MORE = {"dashboard", "demo", "--follow"}
"""Examples that ask, serve or build at length; each is run by a test of its own."""


GROUP: Any = typer.main.get_command(app)


def commands() -> Iterator[tuple[str, ...]]:
    for name, command in GROUP.commands.items():
        yield (name,)
        for inner in getattr(command, "commands", {}):
            yield (name, inner)


def help_of(path: tuple[str, ...]) -> str:
    command = GROUP
    for name in path:
        command = command.commands[name]
    return command.help or ""


def examples() -> Iterator[list[str]]:
    for path in commands():
        told = re.sub(r"\n\s+(?=--)", " ", help_of(path))
        for line in told.splitlines():
            if line.strip().startswith("$ lockring "):
                yield shlex.split(line.strip().removeprefix("$ lockring "))


@pytest.mark.parametrize("path", [(), *commands()], ids=" ".join)
def test_help_of_every_command(lockring: Run, path: tuple[str, ...]) -> None:
    """--help of every command ends with 0 and says what it is for."""
    done = lockring(*path, "--help")
    assert (done.code, done.err) == (0, "")
    assert "Usage: lockring" in done.out


@pytest.mark.parametrize(
    "path", [path for path in commands() if path not in {("riders",), ("people",)}]
)
def test_every_command_has_an_example(path: tuple[str, ...]) -> None:
    """The help of every command shows how it is used."""
    assert "$ lockring " + " ".join(path) in help_of(path)


@pytest.mark.parametrize(
    "example", [one for one in examples() if not NEEDS_MORE & set(one)], ids=" ".join
)
def test_every_example_of_the_help_works(lockring: Run, kept: Path, example: list[str]) -> None:
    """Each example of the help texts, run as it stands in a shop's folder, ends with 0."""
    if example[0] != "init":
        is_new = example[:2] == ["record", "bike_registered"]
        prepare(lockring, kept, has_bike=not is_new, is_record=example[0] == "record")
    if any(one.startswith("books") for one in example):
        several(lockring)
    if example[0] == "restore":
        assert lockring("backup", "disk/book", "--keys-to", "stick/keys").code == 0
    if example[:2] == ["verify", "--receipt"]:
        assert lockring("receipt", "--seq", "1", "--output", example[2]).code == 0
    if example[0] == "clock":
        on_the_clock(lockring, example)
    if example[0] == "report":
        done = lockring("record", "job_opened", "--bike", TAG, "--job", "J-1")
        assert done.code == 0, done.err
    if example[0] == "quote":
        quoted(lockring)
    is_person = example[0] == "people"
    if is_person and example[1] != "add":
        entered(lockring)
    done = lockring(*example, typed=f"{PIN}\n") if is_person else lockring(*example)
    assert (done.code, done.out == "") == (0, False), done.err


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the shop's folders are kept that `made` made."""
    return tmp_path_factory.mktemp("kept")


def prepare(lockring: Run, kept: Path, *, has_bike: bool, is_record: bool) -> None:
    """Put a copy of a shop's folder here, made once with its bike and once without."""
    whole = kept / ("with" if has_bike else "without")
    if not whole.exists():
        made(lockring, has_bike=has_bike)
        shutil.copytree(".", whole)
    shutil.copytree(whole, ".", dirs_exist_ok=True)
    if is_record:
        Path("events.jsonl").write_text(LINE.format(id=STRUCK[:-4] + "0001", bike=OTHER))


def made(lockring: Run, *, has_bike: bool) -> None:
    assert lockring("init", "--shop", "quay", "--mechanic", "m1").code == 0
    assert lockring("riders", "add", "--name", "Ada Reed", "--id", "r-0042").code == 0
    for bike in (TAG, OTHER) if has_bike else (OTHER,):
        more = ("--at", "2026-01-05 09:00")
        assert lockring("record", "bike_registered", "--bike", bike, *more).code == 0
    assert lockring("record", "-", typed=LINE.format(id=STRUCK, bike=OTHER)).code == 0
    Path("log.csv").write_text(LOG)
    Path("log.toml").write_text(MAPPING)


def several(lockring: Run) -> None:
    """Make the books of two shops in a folder, with a bike each."""
    for shop, bike in (("quay", TAG), ("pier", OTHER)):
        book = f"books/{shop}"
        assert lockring("init", book, "--shop", shop, "--mechanic", "m1").code == 0
        more = ("--bike", bike, "--at", "2026-01-05 09:00", "--book", book)
        assert lockring("record", "bike_registered", *more).code == 0


def on_the_clock(lockring: Run, example: list[str]) -> None:
    """Book the bike in, and let a clock run or be paused where the example moves one."""
    opened = ("--bike", TAG, "--job", "j1", "--at", "2026-03-01 09:00")
    assert lockring("record", "job_opened", *opened).code == 0
    if not {"pause", "resume", "stop"} & set(example):
        return
    at = ("--at", "2026-03-01 16:00") if "--at" in example else ()
    assert lockring("clock", "start", TAG, "--task", "brakes", *at).code == 0
    if "resume" in example:
        assert lockring("clock", "pause").code == 0


def entered(lockring: Run) -> None:
    """Let somebody sign in."""
    done = lockring("people", "add", "ada", "--role", "desk", typed=f"{PIN}\n")
    assert done.code == 0, done.err


def quoted(lockring: Run) -> None:
    """Book the bike in, and quote two lines."""
    opened = ("--bike", TAG, "--job", "j1", "--at", "2026-03-01 09:00")
    assert lockring("record", "job_opened", *opened).code == 0
    lines = ("--labour", "brakes; 20; 18.00", "--other", "a bell; 9.90")
    done = lockring("quote", "give", TAG, "--id", "Q1", *lines)
    assert done.code == 0, done.err


def test_help_is_quick_and_light() -> None:
    """--help imports nothing of the ledger's weight, and neither does recording one event."""
    code = (
        "import sys\nfrom ledger.cli.guard import run\nrun(['--help'])\n"
        "heavy = {'pydantic', 'pyarrow', 'duckdb', 'pandas', 'streamlit', 'cryptography'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert ended.stderr.strip() == "[]"


def test_recording_needs_no_dashboard(tmp_path: Path) -> None:
    """Recording one event loads neither pandas nor streamlit nor the query engine."""
    code = (
        "import contextlib, sys\nfrom ledger.cli import main\n"
        "for line in ('init --mechanic m1', 'record bike_registered --bike 7K3M9QXA'):\n"
        "    with contextlib.suppress(SystemExit):\n"
        "        main(line.split())\n"
        "heavy = {'duckdb', 'pandas', 'streamlit', 'pint', 'altair'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True, text=True, timeout=60, check=True, cwd=tmp_path,
    )  # fmt: skip
    assert "Recorded 1 event in commit 2." in ended.stdout
    assert ended.stderr.strip() == "[]"
