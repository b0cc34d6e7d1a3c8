"""A workshop's folder to run `lockring` in: by its real entry point, in this process."""

from __future__ import annotations

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
