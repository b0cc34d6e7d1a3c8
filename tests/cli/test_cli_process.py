from __future__ import annotations

import json
import os
import pty
import select
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

import pytest
from workbench import TAG, Ended, Run, snapshot

from ledger.book import Book
from tests.long import times

NOTES = times(180, usual=36)
"""Each is recorded by a process of its own."""

LOCKRING = (sys.executable, "-c", "from ledger.cli import main; main()")


def run(*arguments: str, cwd: Path) -> Ended:
    ended = subprocess.run(
        [*LOCKRING, *arguments], cwd=cwd, capture_output=True, text=True, timeout=300, check=False
    )
    return Ended(ended.returncode, ended.stdout, ended.stderr)


def old_book(folder: Path) -> None:
    """A book whose newest commit is a month old."""
    when = datetime(2026, 1, 5, 9, tzinfo=UTC)
    book = Book.init(folder / "book", shop="quay", clock=lambda: when)
    data = {"mechanic": "m1"}
    book.append([{"kind": "mechanic_registered", "actor": "m1", "data": data}])


REGISTER = ("record", "bike_registered", "--bike", TAG)


def test_a_clock_that_jumped_is_refused_where_nobody_can_be_asked(
    lockring: Run, tmp_path: Path
) -> None:
    """A day after the newest commit, nothing is recorded without --confirm-clock."""
    old_book(tmp_path)
    before = snapshot(Path("book"))
    done = lockring(*REGISTER)
    assert done.code == 1
    assert "--confirm-clock" in done.err
    assert snapshot(Path("book")) == before
    assert lockring(*REGISTER, "--confirm-clock").code == 0


class Terminal:
    """`lockring` on a terminal of its own, typed at like a person does."""

    def __init__(self, *arguments: str, cwd: Path) -> None:
        self._ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [*LOCKRING, *arguments], cwd=cwd, stdin=theirs, stdout=theirs, stderr=theirs,
            start_new_session=True, env={**os.environ, "COLUMNS": "200", "TERM": "xterm"},
            # A test run started in the background ignores Ctrl-C, and so would its children.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )  # fmt: skip
        os.close(theirs)
        self.shown = ""

    def wait_for(self, words: str, seconds: float = 60) -> None:
        until = time.monotonic() + seconds
        seen = len(self.shown)
        while words not in self.shown[seen:]:
            assert time.monotonic() < until, f"{words!r} never came:\n{self.shown}"
            if not self._read():
                break
        assert words in self.shown[seen:], self.shown

    def _read(self) -> bool:
        if not select.select([self._ours], [], [], 0.5)[0]:
            return self.process.poll() is None
        try:
            self.shown += os.read(self._ours, 65536).decode(errors="replace")
        except OSError:
            return False
        return True

    def type(self, text: str) -> None:
        os.write(self._ours, f"{text}\n".encode())

    def interrupt(self) -> None:
        """Press Ctrl-C, again if it fell between the prompt and the waiting for an answer."""
        for _ in range(20):
            self.process.send_signal(signal.SIGINT)
            until = time.monotonic() + 3
            while time.monotonic() < until:
                if not self._read():
                    return

    def end(self, seconds: float = 60) -> int:
        until = time.monotonic() + seconds
        while self._read():
            assert time.monotonic() < until, f"it never ended:\n{self.shown}"
        os.close(self._ours)
        return self.process.wait(seconds)


def test_a_clock_that_jumped_is_asked_about_on_a_terminal(tmp_path: Path) -> None:
    """On a terminal the clock is asked about, and yes records."""
    old_book(tmp_path)
    terminal = Terminal(*REGISTER, cwd=tmp_path)
    terminal.wait_for("Is the clock right?")
    terminal.type("yes")
    terminal.wait_for("Recorded 1 event")
    assert terminal.end() == 0


def test_no_to_the_clock_records_nothing(tmp_path: Path) -> None:
    """On a terminal, no to the clock ends with 1 and records nothing."""
    old_book(tmp_path)
    before = snapshot(tmp_path / "book")
    terminal = Terminal(*REGISTER, cwd=tmp_path)
    terminal.wait_for("Is the clock right?")
    terminal.type("no")
    assert terminal.end() == 1
    assert "Traceback" not in terminal.shown
    assert snapshot(tmp_path / "book") == before


def test_ctrl_c_in_a_walk_keeps_what_was_saved(shop: Run, tmp_path: Path) -> None:
    """Ctrl-C ends a walk with 130 and no traceback; what was answered before is recorded."""
    terminal = Terminal("record", "--follow", "--bike", TAG, cwd=tmp_path)
    for question, answer in (
        ("Rider (", ""),
        ("in the rider's words", "skips"),
        *((question, "") for question in ("Tier", "Promised", "Ask again", "came with")),
    ):
        terminal.wait_for(question)
        terminal.type(answer)
    terminal.wait_for("computer shows")
    terminal.interrupt()
    assert terminal.end() == 130
    assert "Traceback" not in terminal.shown
    assert "To go on: lockring record --follow" in terminal.shown
    assert len(shop("state", TAG, "--json").json["jobs_open"]) == 1


def in_eights(folder: Path, runs: Sequence[tuple[str, ...]]) -> list[Ended]:
    with ThreadPoolExecutor(8) as pool:
        return list(pool.map(lambda arguments: run(*arguments, cwd=folder), runs))


def event_id(number: int) -> str:
    return f"0190f0c6-8a2b-7c3d-9e4f-5a6b7c8d{number:04x}"


@pytest.mark.slow
def test_many_runs_lose_nothing_and_double_nothing(tmp_path: Path) -> None:
    """NOTES and a ninth of them again, 8 processes at a time: every event is there once."""
    assert run("init", "--shop", "quay", "--mechanic", "m1", cwd=tmp_path).code == 0
    assert run(*REGISTER, "--at", "2026-01-05 09:00", cwd=tmp_path).code == 0
    numbers = [*range(NOTES), *range(NOTES // 9)]
    runs = [
        ("record", "noted", "--bike", TAG, "--position", "chain", "--note", f"note {number}",
         "--id", event_id(number), "--at", f"2026-02-01 09:{number % 60:02d}", "--json")
        for number in numbers
    ]  # fmt: skip
    ended = in_eights(tmp_path, runs)
    assert [one.err for one in ended if one.code != 0] == []
    receipts = [one.json["events"][0] for one in ended]
    assert sum(receipt["is_new"] for receipt in receipts) == NOTES
    assert {receipt["id"] for receipt in receipts} == {event_id(n) for n in range(NOTES)}
    lines = [json.loads(line) for line in run("export", cwd=tmp_path).out.splitlines()]
    assert [line["seq"] for line in lines] == list(range(1, NOTES + 3))
    places = {line["id"]: (line["seq"], line["commit"]) for line in lines}
    assert len(places) == NOTES + 2
    for receipt in receipts:
        assert places[receipt["id"]] == (receipt["seq"], receipt["commit"])
    assert run("verify", cwd=tmp_path).code == 0


@pytest.mark.slow
def test_the_main_path_in_processes_of_their_own(tmp_path: Path) -> None:
    """From init to verify, each command in its own process, the book goes out and comes back."""
    assert run("init", "--shop", "quay", "--mechanic", "m1", cwd=tmp_path).code == 0
    assert run(*REGISTER, "--set", "speeds=11", cwd=tmp_path).code == 0
    reading = ("--position", "chain", "--quantity", "elongation", "--value", "0.55 %")
    done = run("record", "measured", "--bike", TAG, *reading, "--json", cwd=tmp_path)
    assert done.code == 0, done.err
    struck = done.json["events"][0]["id"]
    assert run("state", TAG, "--json", cwd=tmp_path).json["readings"][0]["verdict"] == "due"
    assert run("strike", struck, "--reason", "wrong bike", cwd=tmp_path).code == 0
    assert run("state", TAG, "--json", cwd=tmp_path).json["readings"] == []
    assert "struck: measured" in run("history", TAG, cwd=tmp_path).out
    assert run("export", "--form", "parquet", "--out", "x.parquet", cwd=tmp_path).code == 0
    assert run("init", "copy", "--shop", "quay", cwd=tmp_path).code == 0
    done = run("import", "x.parquet", "--own", "--json", "--book", "copy", cwd=tmp_path)
    assert done.json["is_same_root"] is True
    assert run("verify", "--book", "copy", cwd=tmp_path).code == 0


@pytest.mark.parametrize("closed", [">&-", "2>&-", "<&-", ">&- 2>&- <&-"])
def test_a_closed_stream_is_no_matter(shop: Run, tmp_path: Path, closed: str) -> None:
    """Started without stdout, stderr or stdin, a command ends as it would have, and quietly."""
    line = " ".join(shlex.quote(part) for part in (*LOCKRING, "history", TAG))
    ended = subprocess.run(
        ["sh", "-c", f"{line} {closed}"], cwd=tmp_path, capture_output=True, check=False
    )
    assert (ended.returncode, ended.stderr) == (0, b"")


def test_what_no_command_uses_is_loaded_when_it_is_used_and_not_before() -> None:
    """scipy names the wrapper of a Fortran compiler; it is read only once somebody asks it."""
    code = (
        "import contextlib, sys\nfrom ledger.cli import main\n"
        "with contextlib.suppress(SystemExit):\n    main(['schema', '--help'])\n"
        "import numpy, scipy.special\n"
        "before = 'numpy.f2py.f2py2e' in sys.modules\n"
        "print(before, callable(numpy.f2py.get_include), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stderr.split() == ["False", "True"]
