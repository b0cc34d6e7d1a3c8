"""Several writer processes on one prefix of a real S3-speaking server."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

from object_store_places import log_of, store_at

from ledger.storage.segment import read_events
from tests.storage.s3_server import s3_server

WRITERS, TURNS = 6, 15
SCRIPT = Path(__file__).with_name("many_object_writers.py")
ROOT = SCRIPT.parents[2]


def test_writers_at_the_same_time_lose_and_duplicate_nothing(tmp_path, monkeypatch):
    """Every acknowledged event stands once, where its receipt says, with no gap, in every mirror.

    Two of the writers share a mirror, and all of them merge what is due meanwhile.
    """
    with s3_server() as (told, bucket):
        address = f"{bucket}/harbour"
        path = os.pathsep.join((str(ROOT), str(SCRIPT.parent)))
        command = [sys.executable, str(SCRIPT), address, str(tmp_path), str(WRITERS), str(TURNS)]
        environment = {**os.environ, **told, "PYTHONPATH": path}
        subprocess.run(command, env=environment, timeout=120, check=True)
        for name, value in told.items():
            monkeypatch.setenv(name, value)
        said = [(tmp_path / f"said-{writer}").read_text() for writer in range(WRITERS)]
        acknowledged = [line.split() for text in said for line in text.splitlines()]
        for mirror in (tmp_path / "anew", tmp_path / "m1", tmp_path / "m2"):
            log = log_of(store_at(address, mirror))
            rows = [row for file in log.paths() for row in read_events(file.read_bytes())]
            held = [[json.loads(r.canonical)["id"], str(r.seq), str(r.commit)] for r in rows]
            assert sorted(held) == sorted(acknowledged)
            assert [row.seq for row in rows] == [*range(1, 2 * WRITERS * TURNS + 1)]
            assert log.head().commit == WRITERS * TURNS
            assert log.verify_roots() == []
        assert any(name.startswith("s-") for name in log.reading_set())
