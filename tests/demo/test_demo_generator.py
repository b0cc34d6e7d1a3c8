"""The generator: the same for the same seed, any size, in order, in bounded memory."""

from __future__ import annotations

import contextlib
import itertools
import json
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest

from demo_events.generate import DEMO, SCHEMA, commits, write
from demo_events.population import tag_of
from demo_events.spool import Plan
from ledger.events.types import TAG_ALPHABET


def made(plan: Plan) -> list[dict[str, Any]]:
    return [event for commit in commits(plan) for event in commit]


def test_the_same_seed_makes_the_same_files_byte_for_byte(tmp_path: Path) -> None:
    """Two runs of one plan leave identical Parquet files, and another seed others."""
    write(Plan(seed=11, count_bikes=40), tmp_path / "one")
    write(Plan(seed=11, count_bikes=40), tmp_path / "two")
    write(Plan(seed=12, count_bikes=40), tmp_path / "other")
    names = sorted(path.name for path in (tmp_path / "one").iterdir())
    assert "events.parquet" in names
    assert "truth.json" in names
    for name in names:
        one = (tmp_path / "one" / name).read_bytes()
        assert one == (tmp_path / "two" / name).read_bytes(), name
    one = (tmp_path / "one" / "events.parquet").read_bytes()
    assert one != (tmp_path / "other" / "events.parquet").read_bytes()


def test_the_demo_in_the_folder_is_what_the_generator_makes(events: list[dict[str, Any]]) -> None:
    """The events kept in the repository are those of the plan the code names."""
    assert made(DEMO) == events


@pytest.mark.slow
def test_several_workshops_through_files_are_those_in_memory(tmp_path: Path) -> None:
    """Merging from files gives the very events that workshops side by side give."""
    plan = Plan(seed=3, count_bikes=1620)
    assert plan.count_units == 2
    count = write(plan, tmp_path)
    table = pq.read_table(tmp_path / "events.parquet")
    in_memory = [(number, e) for number, c in enumerate(commits(plan), 1) for e in c]
    assert table.num_rows == count == len(in_memory)
    assert table.schema == SCHEMA
    assert table["commit"].to_pylist() == [number for number, _ in in_memory]
    for text, (_, event) in zip(table["event"].to_pylist(), in_memory, strict=True):
        assert json.loads(text) == event


def test_workshops_of_one_book_share_no_tag_rider_mechanic_or_job() -> None:
    """Two workshops in one book keep their bikes, riders, mechanics and jobs apart."""
    plan = Plan(seed=3, count_bikes=1620)
    seen: dict[tuple[str, str], set[str]] = {}
    for event in made(plan):
        if event["kind"] == "job_opened":
            seen.setdefault(("job", event["job"]), set()).add(event["bike"])
    assert all(len(bikes) == 1 for bikes in seen.values())
    units = {key[1].split("-")[0] for key in seen}
    assert units == {"j0", "j1"}


def test_tags_are_valid_and_never_the_same() -> None:
    """A hundred workshops' worth of bike numbers give as many different tags."""
    tags = {tag_of(unit * 16_384 + number, 7) for unit in range(100) for number in range(1600)}
    assert len(tags) == 160_000
    assert all(len(tag) == 8 and set(tag) <= set(TAG_ALPHABET) for tag in tags)


@pytest.mark.parametrize("asked", [2_000, 20_000])
def test_about_as_many_events_as_asked_for(asked: int) -> None:
    """The number of events asked for is met within 15 %."""
    count = len(made(Plan.of_events(asked, seed=5)))
    assert 0.85 * asked <= count <= 1.15 * asked


def test_numbers_run_without_gaps_and_recording_times_never_fall(
    rows: list[dict[str, Any]],
) -> None:
    """seq runs from 1, commits from 1, recorded_at never falls, nothing is recorded early."""
    assert [row["seq"] for row in rows] == list(range(1, len(rows) + 1))
    for before, after in itertools.pairwise(rows):
        assert after["commit"] - before["commit"] in (0, 1)
        assert after["recorded_at"] >= before["recorded_at"]
        if after["commit"] == before["commit"]:
            assert after["recorded_at"] == before["recorded_at"]
    assert all(row["occurred_at"] <= row["recorded_at"] for row in rows)
    assert len({row["id"] for row in rows}) == len(rows)


def test_columns_say_what_the_events_say(
    rows: list[dict[str, Any]], events: list[dict[str, Any]]
) -> None:
    """Every column beside the event repeats the event's own field."""
    for row, event in zip(rows, events, strict=True):
        for name in ("seq", "id", "kind", "bike", "job", "actor"):
            assert row[name] == event.get(name)
        for name in ("occurred_at", "recorded_at"):
            assert row[name].strftime("%Y-%m-%dT%H:%M:%S.%fZ") == event[name]


def family(pid: int) -> list[int]:
    """Give a process and all that descend from it (Linux)."""
    found = [pid]
    for known in found:
        for children in Path(f"/proc/{known}/task").glob("*/children"):
            with contextlib.suppress(OSError):
                found += [int(child) for child in children.read_text().split()]
    return found


def peak_of(pid: int) -> int:
    """Give the most memory a process has held, in KiB; 0 once it is gone."""
    with contextlib.suppress(OSError):
        status = Path(f"/proc/{pid}/status").read_text()
        return int(status.partition("VmHWM:")[2].split()[0]) if "VmHWM:" in status else 0
    return 0


@pytest.mark.slow
def test_memory_stays_bounded_at_any_size(tmp_path: Path) -> None:
    """300,000 events are made with under 400 MB in any one process."""
    command = [sys.executable, "-m", "demo_events.generate", "--events", "300000"]
    making = subprocess.Popen([*command, "--out", str(tmp_path)], cwd=Path(__file__).parents[2])
    peak_kb = 0
    while making.poll() is None:
        peak_kb = max([peak_kb, *(peak_of(pid) for pid in family(making.pid))])
        time.sleep(0.02)
    assert making.returncode == 0
    assert 50_000 < peak_kb < 400_000
    assert pq.read_metadata(tmp_path / "events.parquet").num_rows > 255_000
