import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from storage_events import UNITS, after, event_id

from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.storage.segment import read_events

WRITER = Path(__file__).with_name("commit_readings.py")
ROOT = Path(__file__).parents[2]


def start(folder, writer, count):
    return subprocess.Popen(
        [sys.executable, WRITER, folder, str(writer), str(count)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def go(*processes):
    """Let writers begin, once all of them are ready."""
    for process in processes:
        assert process.stdout.readline() == "ready\n"
    for process in processes:
        process.stdin.write("go\n")
        process.stdin.flush()


def acknowledged_in(text):
    """Give (id, seq, commit) of each whole line a writer said."""
    lines = [line.split() for line in text.split("\n")[:-1]]
    return [(one, int(seq), int(commit)) for one, seq, commit in lines]


def held_in(folder):
    """Give (id, seq, commit) of each event a log holds, in the order it is read."""
    log = Log(LocalStore(folder), UNITS)
    rows = [row for path in log.paths() for row in read_events(path.read_bytes())]
    return [(json.loads(row.canonical)["id"], row.seq, row.commit) for row in rows]


@pytest.mark.parametrize(
    ("writers", "turns"), [(2, 40), pytest.param(8, 25, marks=pytest.mark.slow)]
)
def test_writers_at_the_same_time_lose_and_duplicate_nothing(tmp_path, writers, turns):
    """Every acknowledged event stands once, where its receipt says, and seq has no gap."""
    processes = [start(tmp_path, writer, turns) for writer in range(writers)]
    go(*processes)
    said = [acknowledged_in(process.communicate(timeout=120)[0]) for process in processes]
    assert [process.returncode for process in processes] == [0] * writers
    held = held_in(tmp_path)
    assert sorted(event for one in said for event in one) == sorted(held)
    assert [seq for _, seq, _ in held] == [*range(1, 2 * writers * turns + 1)]
    assert len({one for one, _, _ in held}) == len(held)
    log = Log(LocalStore(tmp_path), UNITS)
    assert log.head().commit == writers * turns
    assert log.verify_roots() == []


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_writer_killed_in_the_middle_of_its_commits_loses_nothing_acknowledged(tmp_path, seed):
    """After kill -9 the log opens, verifies, and holds what was acknowledged and maybe one more."""
    process = start(tmp_path, 1, 200)
    go(process)
    lines = [process.stdout.readline() for _ in range(random.Random(seed).randrange(20, 200))]
    time.sleep(random.Random(seed).random() / 200)
    process.send_signal(signal.SIGKILL)
    said = acknowledged_in("".join(lines) + process.stdout.read())
    assert process.wait() == -signal.SIGKILL
    held = held_in(tmp_path)
    assert len(said) < 400
    assert said == held[: len(said)]
    assert len(held) - len(said) <= 4
    log = Log(LocalStore(tmp_path), UNITS)
    assert log.verify_roots() == []
    assert log.commit(after).commit == len(held) // 2 + 1
    assert event_id(1_000_000) == held[0][0]
