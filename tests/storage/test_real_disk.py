"""The same promises on the disk of this machine: killed, full, closed, crowded."""

from __future__ import annotations

import json
import os
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from storage_events import UNITS, after

from ledger.errors import LedgerError
from ledger.storage import compaction
from ledger.storage.compaction import compact
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.storage.segment import read_events
from tests.storage.many_processes import BLOCKS

MANY = Path(__file__).with_name("many_processes.py")
ROOT = Path(__file__).parents[2]
NOBODY = 65_534


@pytest.fixture(autouse=True)
def small_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blocks as the processes have them."""
    monkeypatch.setattr(compaction, "BLOCKS", BLOCKS)


def held_in(folder: Path) -> list[tuple[str, int, int]]:
    """Give (id, seq, commit) of each event a log holds, in the order it is read."""
    log = Log(LocalStore(folder), UNITS)
    rows = [row for path in log.paths() for row in read_events(path.read_bytes())]
    rows.sort(key=lambda row: row.seq)
    return [(json.loads(row.canonical)["id"], row.seq, row.commit) for row in rows]


def python(*arguments: object) -> subprocess.Popen[str]:
    environment = {**os.environ, "PYTHONPATH": f"{ROOT}:{MANY.parent}"}
    command = [sys.executable, *map(str, arguments)]
    return subprocess.Popen(command, env=environment, text=True, stdout=subprocess.PIPE)


def test_thirty_two_writers_and_a_compaction_lose_and_duplicate_nothing(tmp_path: Path) -> None:
    """Every acknowledged event stands once, where its receipt says; few files are left."""
    folder, writers, turns = tmp_path / "events", 32, 2
    folder.mkdir()
    assert python(MANY, folder, writers, turns).wait() == 0
    said = [
        (one, int(seq), int(commit))
        for path in tmp_path.glob("said-*")
        for one, seq, commit in (line.split() for line in path.read_text().splitlines())
    ]
    held = held_in(folder)
    assert sorted(said) == sorted(held)
    assert [seq for _, seq, _ in held] == [*range(1, 2 * writers * turns + 1)]
    log = Log(LocalStore(folder), UNITS)
    assert log.verify_roots() == []
    assert len(list(folder.iterdir())) == len(log.reading_set()) < 32


KILLED = "from many_processes import *; compaction.BLOCKS = BLOCKS; print('on', flush=True); \
merge(Path({folder!r}), is_forever=True)"


@pytest.mark.parametrize("seed", range(3))
def test_a_compaction_that_is_killed_leaves_the_same_book(tmp_path: Path, seed: int) -> None:
    """Wherever kill -9 meets it; what it left undone another one does."""
    folder = tmp_path / "events"
    folder.mkdir()
    log = Log(LocalStore(folder), UNITS)
    process = python("-c", KILLED.format(folder=str(folder)))
    assert process.stdout is not None and process.stdout.readline() == "on\n"
    for _ in range(60):
        log.commit(after)
    time.sleep(random.Random(seed).random() / 20)
    process.send_signal(signal.SIGKILL)
    assert process.wait() == -signal.SIGKILL
    process.stdout.close()
    assert [seq for _, seq, _ in held_in(folder)] == [*range(1, 61)]
    assert log.verify_roots() == []
    compact(log, datetime.now(UTC), grace=timedelta(0))
    assert len(log.reading_set()) == 1 + 6 + 4
    assert [seq for _, seq, _ in held_in(folder)] == [*range(1, 61)]


@contextmanager
def mounted(folder: Path, size: int) -> Iterator[None]:
    """Put a small disk of its own at a folder; skip where this machine does not allow that."""
    command = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
    try:
        done = subprocess.run(command, capture_output=True, check=False).returncode == 0
    except OSError:
        done = False
    if not done:
        pytest.skip("no disk can be mounted here")
    try:
        yield
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def fill(log: Log) -> int:
    """Commit until it is refused; give how many were acknowledged."""
    for count in range(1_000):
        try:
            log.commit(lambda head: after(head, 10))
        except LedgerError as error:
            assert "Nothing was recorded" in str(error)
            return count
    raise AssertionError("it was never full")


def test_a_full_disk_refuses_and_keeps_what_was_acknowledged(tmp_path: Path) -> None:
    """Neither a commit nor a compaction leaves half a file; with room again, both go on."""
    with mounted(tmp_path, 800_000):
        folder = tmp_path / "events"
        folder.mkdir()
        (tmp_path / "room").write_bytes(bytes(400_000))
        log = Log(LocalStore(folder), UNITS)
        count = fill(log)
        assert count > 4
        with pytest.raises(LedgerError, match="Make room"):
            compact(log, datetime.now(UTC), grace=timedelta(0))
        assert [seq for _, seq, _ in held_in(folder)] == [*range(1, 10 * count + 1)]
        assert len(list(folder.iterdir())) == count
        (tmp_path / "room").unlink()
        assert compact(log, datetime.now(UTC), grace=timedelta(0)).removed
        log.commit(after)
        assert [seq for _, seq, _ in held_in(folder)] == [*range(1, 10 * count + 2)]


def told_by(work: Callable[[], object]) -> str:
    """Run something in a process of its own; give what it raised, in words."""
    reading, writing = os.pipe()
    pid = os.fork()
    if not pid:
        try:
            work()
        except BaseException as error:
            os.write(writing, f"{type(error).__name__}: {error}".encode())
        os._exit(0)
    os.waitpid(pid, 0)
    os.close(writing)
    with os.fdopen(reading) as file:
        return file.read()


def test_a_file_that_may_not_grow_is_refused(tmp_path: Path) -> None:
    """A limit on the size of files is said in words, and nothing is left of the attempt."""
    log = Log(LocalStore(tmp_path), UNITS)
    log.commit(after)

    def limited() -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (1_000, 1_000))
        log.commit(after)

    assert told_by(limited).startswith("WriteRefused: Nothing was recorded")
    assert len(list(tmp_path.iterdir())) == 1
    assert log.commit(after).commit == 2


def test_a_folder_that_may_only_be_read_is_read(tmp_path: Path) -> None:
    """Reading goes on; recording and merging are refused in words."""
    folder = Path(tempfile.mkdtemp(prefix="lockring-"))
    for _ in range(6):
        Log(LocalStore(folder), UNITS).commit(after)
    folder.chmod(0o555)

    def as_nobody(work: Callable[[Log], object]) -> Callable[[], object]:
        def run() -> object:
            if os.getuid() == 0:
                os.setuid(NOBODY)
            return work(Log(LocalStore(folder), UNITS))

        return run

    try:
        assert told_by(as_nobody(lambda log: log.commit(after))).startswith("WriteRefused: Nothing")
        merge = as_nobody(lambda log: compact(log, datetime.now(UTC), grace=timedelta(0)))
        assert told_by(merge).startswith("WriteRefused: Nothing")
        assert told_by(as_nobody(lambda log: held_in(folder))) == ""
        assert len(held_in(folder)) == len(list(folder.iterdir())) == 6
    finally:
        folder.chmod(0o755)
        for path in folder.iterdir():
            path.unlink()
        folder.rmdir()
