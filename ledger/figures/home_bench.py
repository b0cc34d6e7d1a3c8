"""Today's bench: the jobs open now, who is on them, and what of them waits for a decision."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import pyarrow as pa

from ledger.asking import Asker, is_theirs
from ledger.book import Book
from ledger.clocks import OPEN_JOBS, RunningClock, running
from ledger.figures.home_bikes import bike_lines
from ledger.figures.home_keeps import rows_now
from ledger.figures.home_shapes import BenchJob, OnIt

MOST = 500
"""So many jobs are listed at most; the count is of all."""


def bench_today(
    book: Book, now: datetime | None = None, *, asker: Asker, limit: int = MOST
) -> tuple[BenchJob, ...]:
    """Give the jobs that are open, those past their promised time first, then as promised.

    A job that was promised for no time comes last, the oldest first. That somebody else's clock
    was forgotten is told only to those who see colleagues' figures.
    """
    at = now or datetime.now(UTC)
    jobs = _in_order(rows_now(book, OPEN_JOBS)).slice(0, limit).to_pylist()
    lines = bike_lines(book, [row["bike"] for row in jobs])
    on_it = _on_it(running(book, now, asker=asker), asker)
    return tuple(
        BenchJob(
            bike=row["bike"],
            name=lines[row["bike"]].name if row["bike"] in lines else None,
            job=row["job"],
            tier=row["tier"],
            opened_at=_utc(row["opened_at"]),
            promised_at=row["promised_at"] and _utc(row["promised_at"]),
            waiting_for=row["waiting_for"],
            is_late=is_late(row, at),
            on_it=tuple(on_it[row["bike"], row["job"]]),
        )
        for row in jobs
    )


def count_open(book: Book) -> int:
    """Give how many jobs are open."""
    return len(rows_now(book, OPEN_JOBS))


def is_late(job: Mapping[str, Any], now: datetime) -> bool:
    """Say whether an open job is past its promised time."""
    promised_at = job["promised_at"]
    return promised_at is not None and bool(promised_at < now)


def _in_order(jobs: pa.Table) -> pa.Table:
    order = [("promised_at", "ascending"), ("opened_at", "ascending"), ("job", "ascending")]
    return jobs.sort_by(order)


def _on_it(clocks: tuple[RunningClock, ...], asker: Asker) -> Mapping[tuple[str, str], list[OnIt]]:
    found: dict[tuple[str, str], list[OnIt]] = defaultdict(list)
    for clock in clocks:
        found[clock.bike, clock.job].append(
            OnIt(
                mechanic=clock.mechanic,
                task=clock.task,
                is_paused=clock.is_paused,
                since=clock.since,
                is_forgotten=clock.is_forgotten and is_theirs(asker, clock.mechanic),
            )
        )
    return found


def _utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC)
