"""A little coverage-guided fuzzing at every run; `make fuzz` goes on for longer."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.long import times

NAMES = ("lines", "mappings", "tables", "cells", "receipts", "witnesses", "footers",
         "book_settings", "statements", "addresses")  # fmt: skip
RUNS, SEED = times(2_000, usual=1_000), 20_260_301
ROOT = Path(__file__).parents[2]


def fuzzed(name: str, folder: Path, *more: str) -> subprocess.CompletedProcess[str]:
    """Fuzz one reader from its right inputs on."""
    work = folder / "work"
    work.mkdir()
    command = [sys.executable, "-m", "tests.hostile.guided", name, str(work), f"-seed={SEED}",
               "-max_len=9000", "-len_control=0", f"-artifact_prefix={folder}/", *more]  # fmt: skip
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, errors="replace",
                          timeout=300)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_no_input_ends_in_anything_but_words(name: str, tmp_path: Path) -> None:
    """Thousands of inputs that grew out of right ones, each read or refused."""
    done = fuzzed(name, tmp_path, f"-runs={RUNS}")
    assert done.returncode == 0, done.stderr[-2_000:] + done.stdout[-500:]
    assert f"Done {RUNS} runs" in done.stderr
    reached = [int(count) for count in re.findall(r"cov: (\d+)", done.stderr)]
    assert reached[-1] > 10, "nothing of the code was watched"


def test_the_names_are_all_there_is() -> None:
    """None is forgotten here."""
    listed = subprocess.run(
        [sys.executable, "-c", "from tests.hostile.guided import TARGETS; print(*TARGETS)"],
        cwd=ROOT, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert tuple(listed.stdout.split()) == NAMES
