"""A workshop's folder to run `lockring` in: by its real entry point, in this process."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

TAG = "7K3M9QXA"


@dataclass(frozen=True)
class Ended:
    """How one command ended."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """What it printed, read as JSON."""
        return json.loads(self.out)


Run = Callable[..., Ended]


@pytest.fixture
def lockring(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Run one command line in an empty folder; `typed` is what stands on stdin."""
    from ledger.cli.app import app

    monkeypatch.chdir(tmp_path)
    for name in ("LOCKRING_BOOK", "LOCKRING_ACTOR", "LOCKRING_DEBUG"):
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


def snapshot(folder: Path) -> dict[str, bytes]:
    """Give every event file of a book with its bytes."""
    return {path.name: path.read_bytes() for path in sorted((folder / "events").iterdir())}
