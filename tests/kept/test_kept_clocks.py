"""Clocks and open jobs as they are kept, against the same worked out from a book's events."""

from __future__ import annotations

import random
import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

import ledger.kept
from ledger import clocks
from ledger.asking import OWNER
from ledger.book import Book
from ledger.clocks import OF_CLOCKS, Draft, OpenJob, RunningClock
from ledger.kept import keep_ready

BIKES = ("7K3M9QXA", "4Q8N5W3X", "9V7T5R3P")
MECHANICS = ("m1", "m2")
START = datetime(2026, 3, 2, 8, tzinfo=UTC)


class Bench:
    """A shop whose day goes on by ten minutes at each thing recorded."""

    def __init__(self, folder: Path, chance: random.Random) -> None:
        self.now, self.chance, self.count_jobs = START, chance, 0
        self.book = Book.init(folder / "b", shop="quay", time_zone="UTC", clock=lambda: self.now)
        self.append([{"kind": "bike_registered", "bike": bike, "data": {}} for bike in BIKES])

    def append(self, drafts: list[Draft]) -> None:
        """Record what a mechanic does, at the time it is."""
        self.now += timedelta(minutes=10)
        self.book.append([{"actor": "m1", **draft} for draft in drafts], confirm_clock=True)

    def move(self) -> None:
        """Do one thing that the bench may do now."""
        jobs = list(direct(lambda: clocks.open_jobs(self.book)))
        running = list(direct(lambda: clocks.running(self.book, self.now, asker=OWNER)))
        drafts = self.chance.choice(
            [*self._of_jobs(jobs, running), *self._of_clocks(jobs, running)]
        )
        self.append(drafts)

    def _of_jobs(self, jobs: list[OpenJob], running: list[RunningClock]) -> list[list[Draft]]:
        runs_on = {one.job for one in running if not one.is_paused}
        busy, self.count_jobs = {one.bike for one in jobs}, self.count_jobs + 1
        opened = [
            [{"kind": "job_opened", "bike": bike, "job": f"j{self.count_jobs}", "data": {}}]
            for bike in BIKES
            if bike not in busy
        ]
        closed = [
            [{"kind": "job_closed", "bike": one.bike, "job": one.job, "data": {"lines": []}}]
            for one in jobs
            if one.job not in runs_on
        ]
        link = {"first": {"bike": BIKES[0]}, "second": {"bike": BIKES[1]}, "reason": "tag lost"}
        return [*opened, *closed, [{"kind": "bike_linked", "data": link}]]

    def _of_clocks(self, jobs: list[OpenJob], running: list[RunningClock]) -> list[list[Draft]]:
        free = [one for one in MECHANICS if clocks.runs(running, one) is None]
        started = [
            [clocks.start_draft(running, who, on.bike, on.job, self.chance.choice(TASKS))]
            for who in free
            for on in jobs
        ]
        stopped = [
            [clocks.stop_draft(one, 5, is_paused=is_paused)]
            for one in running
            if not one.is_paused
            for is_paused in (False, True)
        ]
        ended = [clocks.end_drafts(one) for one in running if one.is_paused]
        return [*started, *stopped * 2, *ended]


TASKS = ("brakes", "gears")


def direct(ask: Callable[[], Any]) -> Any:
    """Give an answer worked out from the events."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(ledger.kept, "FEWEST_EVENTS", 10**9)
        return ask()


def hold(bench: Bench, chance: random.Random) -> int:
    """Hold both ways equal after every move; gives how many clocks were seen."""
    book, seen = bench.book, 0
    for _ in range(15):
        bench.move()
        if chance.random() < 0.1:
            shutil.rmtree(book.path / "derived", ignore_errors=True)
        asked = chance.choice((book, Book.open(book.path)))
        at = bench.now - timedelta(minutes=chance.choice((0, 0, 25)))
        found = clocks.running(asked, at, asker=OWNER)
        assert found == direct(lambda at=at: clocks.running(book, at, asker=OWNER))
        assert clocks.open_jobs(asked) == direct(lambda: clocks.open_jobs(book))
        seen += len(found)
    return seen


@pytest.mark.parametrize("seed", [7, 19, pytest.param(23, marks=pytest.mark.slow)])
def test_kept_clocks_and_jobs_are_those_of_the_events(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, seed: int
) -> None:
    """However jobs open and close, tags are joined and clocks move, both ways answer the same."""
    monkeypatch.setattr(ledger.kept, "FEWEST_EVENTS", 0)
    monkeypatch.setattr(ledger.kept, "_SMALL_BYTES", 0)
    monkeypatch.setattr(ledger.kept, "_MOST_SHARE", 0)
    chance = random.Random(seed)
    assert hold(Bench(tmp_path, chance), chance) > 0


def test_both_are_made_ready_and_then_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Once kept, no whole table is asked of the engine again."""
    monkeypatch.setattr(ledger.kept, "FEWEST_EVENTS", 0)
    bench = Bench(tmp_path, random.Random(1))
    bench.append([{"kind": "job_opened", "bike": BIKES[0], "job": "j0", "data": {"tier": None}}])
    bench.append([clocks.start_draft((), "m1", BIKES[0], "j0", "brakes")])
    keep_ready(bench.book, OF_CLOCKS)
    held = {path.parent.name for path in bench.book.path.glob("derived/*/*.arrow")}
    assert {keep.folder for keep in OF_CLOCKS} <= held
    monkeypatch.delattr(clocks, "whole_table")
    (clock,) = clocks.running(Book.open(bench.book.path), asker=OWNER)
    assert (clock.bike, clock.mechanic, clock.task) == (BIKES[0], "m1", "brakes")
    assert clocks.open_jobs(bench.book) == (OpenJob(BIKES[0], "j0", None),)
