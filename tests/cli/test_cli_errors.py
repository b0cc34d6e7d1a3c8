from __future__ import annotations

import errno
import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError
from workbench import TAG, Run, snapshot

from ledger.cli.guard import explain, report
from ledger.errors import NoBook, WrongUse
from ledger.events import parse_event

READING = [
    ("state", TAG),
    ("history", TAG),
    ("bikes",),
    ("export",),
    ("verify",),
    ("riders", "list"),
    ("record", "measured", "--bike", TAG),
    ("strike", "0190f0c6-8a2b-7c3d-9e4f-5a6b7c8d9e0f", "--reason", "none"),
    ("import", "log.csv", "--guess"),
    ("dashboard",),
]


@pytest.mark.parametrize("arguments", READING)
def test_without_a_book_every_command_says_so(lockring: Run, arguments: tuple[str, ...]) -> None:
    """Where there is no book, a command ends with 1 and one clear line."""
    done = lockring(*arguments)
    assert (done.code, done.out) == (1, "")
    assert "book" in done.err
    assert len(done.err.strip().splitlines()) == 1


def test_the_book_is_found_by_the_environment(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """$LOCKRING_BOOK names the book, and --book goes before it."""
    Path("book").rename("quay")
    assert shop("state", TAG).code == 1
    monkeypatch.setenv("LOCKRING_BOOK", "quay")
    assert shop("state", TAG).code == 0
    assert shop("state", TAG, "--book", "nowhere").code == 1


def test_an_unknown_bike_is_a_problem_with_the_nearest_tags(shop: Run) -> None:
    """An unknown tag ends with 1 and names the nearest one."""
    done = shop("state", "7K3M9QXB")
    assert done.code == 1
    assert TAG in done.err


def test_a_damaged_file_is_a_problem(shop: Run) -> None:
    """A commit with a flipped byte ends every reading command with 1, naming the file."""
    newest = sorted(Path("book/events").iterdir())[-1]
    content = bytearray(newest.read_bytes())
    content[len(content) // 2] ^= 1
    newest.chmod(0o644)
    newest.write_bytes(content)
    done = shop("state", TAG)
    assert done.code == 1
    assert newest.name in done.err


def test_a_damaged_older_file_is_named(shop: Run) -> None:
    """A file that was cut short long ago ends a reading command with 1 and its name."""
    for day in ("06", "07", "08", "09"):
        shop("record", "noted", "--bike", TAG, "--at", f"2026-01-{day} 09:00",
             "--position", "chain", "--set", "text=Runs dry.")  # fmt: skip
    oldest = sorted(Path("book/events").iterdir())[1]
    oldest.chmod(0o644)
    oldest.write_bytes(oldest.read_bytes()[:100])
    done = shop("state", TAG)
    assert done.code == 1
    assert oldest.name in done.err
    assert "LOCKRING_DEBUG" not in done.err


def test_a_lost_register_is_told_not_replaced(shop: Run) -> None:
    """Without riders.sqlite a book with events is not opened; an empty file begins a new one."""
    shop("record", "noted", "--bike", TAG, "--position", "chain", "--set", "text=Runs dry.")
    register = Path("book/riders.sqlite")
    register.unlink()
    done = shop("history", TAG)
    assert done.code == 1
    assert "riders.sqlite" in done.err and "backup" in done.err
    assert not register.exists()
    register.touch()
    done = shop("history", TAG)
    assert done.code == 0
    assert "(forgotten)" in done.out


@pytest.mark.parametrize("sign", ["\x1b[2J", "\x9b2J", "\u202e", "\r"])
def test_nothing_recorded_steers_the_terminal(shop: Run, sign: str) -> None:
    """Signs that clear the screen or turn the writing round are shown as unknown signs."""
    fit = ("record", "part_fitted", "--bike", TAG, "--position", "chain", "--set")
    assert shop(*fit, f"make=To{sign}lvane").code == 0
    for command in ("state", "history"):
        done = shop(command, TAG)
        assert "lvane" in "".join(done.out.split())
        assert sign[0] not in done.out


def test_wrong_text_is_one_problem(shop: Run) -> None:
    """Text that is too short is said to be wrong once, not once more for not being sealed."""
    done = shop("strike", "last", "--bike", TAG, "--reason", "")
    assert done.code == 1
    assert "1 problem" in done.err
    assert "is not an object" not in done.err


def test_a_folder_in_place_of_a_file_is_a_problem(shop: Run) -> None:
    """A folder handed in as lines ends with 1 and says that a file is needed."""
    Path("day").mkdir()
    done = shop("record", "day")
    assert done.code == 1
    assert "day is a folder" in done.err


@pytest.mark.parametrize(
    ("error", "code", "said"),
    [
        (NoBook("There is no book in x."), 1, "There is no book in x."),
        (WrongUse("Say which."), 2, "Say which."),
        (PermissionError(errno.EACCES, "no", "book.toml"), 1, "book.toml may not be read"),
        (OSError(errno.ENOSPC, "no", "c-1.parquet"), 1, "the disk is full"),
        (FileNotFoundError(errno.ENOENT, "no", "log.csv"), 1, "log.csv is not there"),
        (OSError(errno.EIO, "no", "c-1.parquet"), 1, "the disk reports an error"),
        (UnicodeDecodeError("utf-8", b"\xff", 0, 1, "invalid start byte"), 1, "not in UTF-8"),
        (MemoryError(), 1, "not enough memory"),
        (sqlite3.OperationalError("database is locked"), 1, "riders.sqlite"),
        (KeyError("x"), 1, "LOCKRING_DEBUG=1"),
        (RecursionError("too deep"), 1, "RecursionError: too deep"),
        (KeyboardInterrupt(), 130, "Stopped."),
        (BrokenPipeError(errno.EPIPE, "no"), 0, ""),
    ],
)
def test_every_failure_is_one_line(
    capsys: pytest.CaptureFixture[str], error: BaseException, code: int, said: str
) -> None:
    """Whatever is raised ends in an exit code and in at most one line that says what."""
    assert report(error) == code
    printed = capsys.readouterr()
    assert printed.out == ""
    assert said in printed.err
    assert len(printed.err.splitlines()) <= 1


def test_details_come_only_when_asked_for(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """LOCKRING_DEBUG=1 shows where it went wrong; without it nobody sees a traceback."""
    monkeypatch.setenv("LOCKRING_DEBUG", "1")
    try:
        raise KeyError("x")
    except KeyError as error:
        report(error)
    assert "Traceback" in capsys.readouterr().err
    assert "Traceback" not in explain(KeyError("x"))


@pytest.mark.parametrize("text", ['{"kind":', '{"kind":"noted"}'], ids=["cut off", "of nothing"])
def test_an_event_nobody_can_read_is_the_books(text: str) -> None:
    """What was entered is checked before: such an event stands in the book, and verify names it."""
    with pytest.raises((ValidationError, json.JSONDecodeError)) as caught:
        parse_event(json.loads(text))
    assert explain(caught.value).startswith("The book holds an event that cannot be read")
    assert "lockring verify" in explain(caught.value)


@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    st.one_of(
        st.binary(min_size=1, max_size=200),
        st.text(min_size=1, max_size=200).map(lambda text: text.encode("utf-8", "replace")),
        st.recursive(
            st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
            lambda inner: (
                st.lists(inner, max_size=3)
                | st.dictionaries(st.text(max_size=10), inner, max_size=3)
            ),
            max_leaves=10,
        ).map(lambda value: repr(value).replace("'", '"').encode("utf-8", "replace")),
    ).filter(lambda typed: typed.strip(b" \t\r\n\x0b\x0c") != b"")
)
def test_no_input_ends_in_a_traceback(shop: Run, typed: bytes) -> None:
    """Whatever stands on stdin is refused with 1 and a reason, and changes nothing on disk."""
    before = snapshot(Path("book"))
    done = shop("record", "-", typed=typed)
    assert (done.code, done.out) == (1, "")
    assert done.err.strip()
    assert "not foreseen" not in done.err
    assert snapshot(Path("book")) == before


def lockring_process(*arguments: str, cwd: Path, **more: object) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", "from ledger.cli import main; main()", *arguments]
    pipe = subprocess.PIPE
    # Popen's overloads cannot be told from options that are only passed on.
    return subprocess.Popen(
        command, cwd=cwd, text=True, stdout=more.pop("stdout", pipe), stderr=pipe, **more
    )  # type: ignore[call-overload, no-any-return]


def test_a_full_disk_is_said(tmp_path: Path) -> None:
    """Output that does not fit on the disk ends with 1 and says that the disk is full."""
    if not Path("/dev/full").exists():
        pytest.skip("this system has no /dev/full to fill")
    with Path("/dev/full").open("w") as full:
        ended = lockring_process("schema", cwd=tmp_path, stdout=full)
        _, err = ended.communicate(timeout=60)
    assert ended.returncode == 1
    assert "the disk is full" in err
    assert "Traceback" not in err


def test_a_reader_that_leaves_early_is_no_problem(tmp_path: Path) -> None:
    """When `head` has seen enough, the command ends quietly."""
    command = f"{sys.executable} -c 'from ledger.cli import main; main()' schema | head -1"
    ended = subprocess.run(
        ["bash", "-c", f"set -o pipefail; {command}"],
        cwd=tmp_path, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert (ended.returncode, ended.stdout, ended.stderr) == (0, "{\n", "")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_book_nobody_may_read_is_a_problem(shop: Run) -> None:
    """A book whose files may not be read ends with 1 and names the file."""
    Path("book/book.toml").chmod(0)
    done = shop("state", TAG)
    assert done.code == 1
    assert "book.toml" in done.err
