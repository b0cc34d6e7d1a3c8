"""A workshop's folder to run `lockring` in: by its real entry point, in this process."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner
from workbench import TAG, Ended, Run


@pytest.fixture
def lockring(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run one command line in an empty folder; `typed` is what stands on stdin."""
    from ledger.cli.app import app

    monkeypatch.chdir(tmp_path)
    for name in ("LOCKRING_BOOK", "LOCKRING_ACTOR", "LOCKRING_DEBUG", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)

    def run(*arguments: str, typed: str | bytes | None = None) -> Ended:
        result = CliRunner().invoke(app, list(arguments), input=typed, prog_name="lockring")
        assert "Traceback" not in result.output, result.output
        return Ended(result.exit_code, result.stdout, result.stderr)

    return run


@pytest.fixture(scope="session")
def kept_harbour(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The book of a workshop of the demo's generator, large enough to judge by, made once."""
    from demo_events.generate import write
    from demo_events.spool import Plan
    from ledger.cli.app import app

    folder = tmp_path_factory.mktemp("harbour")
    write(Plan.of_events(8_000, 5, None), folder)
    book = folder / "book"
    done = CliRunner().invoke(app, ["demo", "--from", str(folder), "--book", str(book)])
    assert done.exit_code == 0, done.output
    return book


@pytest.fixture
def harbour(lockring: Run, kept_harbour: Path) -> Run:
    """`lockring` in a folder that holds a copy of that workshop's book."""
    shutil.copytree(kept_harbour, "book")
    return lockring


@pytest.fixture
def shop(lockring: Run) -> Run:
    """The same, with a book in which m1 may record and one bike is registered."""
    done = lockring("init", "--shop", "quay", "--time-zone", "Europe/Lisbon", "--mechanic", "m1")
    assert done.code == 0, done.err
    done = lockring(
        "record", "bike_registered", "--bike", TAG, "--at", "2026-01-05 09:00",
        "--set", "speeds=11", "--set", "make=Tern & Tide",
    )  # fmt: skip
    assert done.code == 0, done.err
    return lockring
