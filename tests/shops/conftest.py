"""The command line for tests of several shops' books."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner

Ended = tuple[int, str, str]


@pytest.fixture
def lockring(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Ended]:
    """Run one command line in an empty folder: its exit code, what it printed, what it warned."""
    from ledger.cli.app import app

    monkeypatch.chdir(tmp_path)
    for name in ("LOCKRING_BOOK", "LOCKRING_ACTOR", "LOCKRING_DEBUG", "COLUMNS"):
        monkeypatch.delenv(name, raising=False)

    def run(*arguments: str) -> Ended:
        result = CliRunner().invoke(app, list(arguments), prog_name="lockring")
        assert "Traceback" not in result.output, result.output
        return result.exit_code, result.stdout, result.stderr

    return run
