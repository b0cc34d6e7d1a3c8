"""What a great file names: the same rows are found as by looking through all of them."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from ledger.storage import reading
from ledger.storage.ids import Ids
from ledger.storage.named import named_in
from ledger.storage.reading import Reader
from ledger.storage.schema import EVENT_SCHEMA

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
KINDS = (
    "part_fitted", "part_removed", "job_opened", "labour_started", "labour_stopped",
    "event_struck", "measured",
)  # fmt: skip
NAMES = (
    "seq", "commit", "id", "kind", "bike", "job", "actor", "occurred_at", "part", "replaces",
    "target_id", "canonical",
)  # fmt: skip
SCHEMA = pa.schema([EVENT_SCHEMA.field(name) for name in NAMES])
ROWS_IN_GROUP = 10


@pytest.fixture(autouse=True)
def small_files_are_great(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files of more than five rows are great ones."""
    monkeypatch.setattr(reading, "_SMALL", 5)


def identity(number: int) -> bytes:
    return number.to_bytes(16, "little")


def rows_of(chance: random.Random, count: int) -> list[dict[str, Any]]:
    """Rows of random kinds that name a few parts, jobs, mechanics and events, whatever the kind."""
    found = []
    for seq in range(1, count + 1):
        row: dict[str, Any] = dict.fromkeys(NAMES)
        row |= {
            "seq": seq, "commit": seq, "id": identity(seq), "kind": chance.choice(KINDS),
            "bike": f"BKE{seq // 9:05}", "canonical": str(seq).encode(),
            "occurred_at": START + timedelta(hours=chance.randrange(100)),
            "part": chance.choice((None, "p1", "p2", "p3")),
            "replaces": chance.choice((None, "p1", "p4")),
            "job": chance.choice((None, "J1", "J2", "J3")),
            "actor": chance.choice(("mia", "ada", "bo")),
            "target_id": identity(chance.randrange(1, 12)),
        }  # fmt: skip
        found.append(row)
    return found


def stored(folder: Path, rows: list[dict[str, Any]]) -> Reader:
    """Give a reader over one file of some rows."""
    path = folder / f"s-000000000001-{len(rows):012d}.parquet"
    pq.write_table(pa.Table.from_pylist(rows, SCHEMA), path, row_group_size=ROWS_IN_GROUP)
    reader = Reader()
    reader.refresh([path])
    return reader


def plainly(
    rows: list[dict[str, Any]], parts: set[str], jobs: set[str], actors: set[str], since: datetime
) -> list[int]:
    """Give the seqs that `naming` promises, by looking at every row."""

    def is_asked(row: dict[str, Any]) -> bool:
        kind = row["kind"]
        if kind in ("part_fitted", "part_removed"):
            return row["part"] in parts or row["replaces"] in parts
        if kind == "job_opened":
            return row["job"] in jobs
        is_clock = kind in ("labour_started", "labour_stopped")
        return is_clock and row["actor"] in actors and row["occurred_at"] >= since

    return [row["seq"] for row in rows if is_asked(row)]


@pytest.mark.parametrize("seed", range(8))
def test_what_a_great_file_names_is_found_as_by_looking_through_it(tmp_path, seed):
    """Any parts, jobs, clocks and strikes give the very rows a look through all of them gives."""
    chance = random.Random(seed)
    rows = rows_of(chance, chance.randrange(6, 90))
    reader = stored(tmp_path, rows)
    for _ in range(12):
        parts = set(chance.sample(["p1", "p2", "p3", "p4", "p9"], chance.randrange(3)))
        jobs = set(chance.sample(["J1", "J2", "J9"], chance.randrange(3)))
        actors = set(chance.sample(["mia", "ada", "eve"], chance.randrange(3)))
        since = START + timedelta(hours=chance.randrange(110))
        found = reader.naming(frozenset(parts), frozenset(jobs), frozenset(actors), since)
        assert [seq for seq, _, _ in found] == plainly(rows, parts, jobs, actors, since)
        targets = {identity(chance.randrange(1, 14)) for _ in range(3)}
        struck = [
            row["seq"]
            for row in rows
            if row["kind"] == "event_struck" and row["target_id"] in targets
        ]
        assert [seq for seq, _, _ in reader.strikes_of(frozenset(targets))] == struck


def test_only_the_row_groups_that_name_something_are_read(tmp_path):
    """A part, a job or a struck event is looked for where it is named and nowhere else."""
    rows = [
        dict.fromkeys(NAMES)
        | {"seq": n, "commit": n, "id": identity(n), "kind": "measured", "occurred_at": START}
        | {"bike": "BKE00001", "actor": "mia", "canonical": b"{}"}
        for n in range(1, 41)
    ]
    rows[3] |= {"kind": "part_fitted", "part": "p1"}
    rows[12] |= {"kind": "job_opened", "job": "J1"}
    rows[23] |= {"kind": "event_struck", "target_id": identity(4)}
    rows[34] |= {"kind": "labour_started", "occurred_at": START + timedelta(days=2)}
    reader = stored(tmp_path, rows)
    with pq.ParquetFile(next(iter(reader._files))) as file:
        named = named_in(file)
    assert [named.naming([one]) for one in ("p1", "J1", identity(4), "p2")] == [[0], [1], [2], []]
    assert named.naming(["p1", "J1"]) == [0, 1]
    assert named.with_clocks(START + timedelta(days=1)) == [3]
    assert named.with_clocks(START + timedelta(days=3)) == []


def test_an_id_is_known_whichever_commit_brought_it(monkeypatch):
    """Ids of new commits are known at once, and stay so when they are sorted in with the rest."""
    monkeypatch.setattr("ledger.storage.ids._MOST_RECENT", 7)
    chance, ids, known = random.Random(4), Ids(), set()
    assert not ids.which(np.array([5], np.uint64)).any()
    for commit in range(60):
        new = [chance.randrange(500) for _ in range(chance.randrange(4))]
        ids.add(Path(f"c-{commit}"), np.array(new, np.uint64))
        known |= set(new)
        asked = list(range(500))
        told = ids.which(np.array(asked, np.uint64))
        assert {one for one, is_known in zip(asked, told, strict=True) if is_known} == known
