"""Whose clock runs on what: the clocks of a book as they stand, and the events that move them.

A clock is nothing but events, so it survives any restart. Nothing here writes: every function
that moves a clock gives the draft to append, or raises `ClockRefused` with what would be right.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import TYPE_CHECKING, Any

from ledger.asking import Asker, is_theirs
from ledger.errors import LedgerError
from ledger.events.types import format_moment
from ledger.kept import Keep, as_it_is, kept
from ledger.queries import asked_of, bike_view, whole_table

if TYPE_CHECKING:
    import pyarrow as pa

    from ledger.book import Book

Draft = dict[str, Any]
_MINUTE = timedelta(minutes=1)
KINDS = ("quoted", "found later", "come-back", "goodwill")
OPEN_CLOCKS, OPEN_JOBS = (
    Keep(name, (name,), partial(as_it_is, name), ("ledger.kept.keep", "ledger.kept.reading"))
    for name in ("open_clocks", "open_jobs")
)
OF_CLOCKS = (OPEN_CLOCKS, OPEN_JOBS)
"""What is kept of a great book so that a clock is found without looking through all of it."""


class ClockRefused(LedgerError):
    """A clock that cannot be moved like that."""


@dataclass(frozen=True, slots=True)
class RunningClock:
    """One mechanic's clock on one job, running or paused."""

    bike: str
    job: str
    mechanic: str
    task: str
    minutes_kind: str
    since: datetime
    """When it was started, or paused; UTC."""
    is_paused: bool
    minutes: int | None
    """Since it was started, to the minute; 0 while paused; None where it is not the asker's to
    see."""
    minutes_before: int | None
    """What the mechanic has on this job, task and kind already; None as `minutes`."""
    is_forgotten: bool
    """It runs since an earlier local day: its span is not what was worked."""


@dataclass(frozen=True, slots=True)
class OpenJob:
    """A job that minutes can go on."""

    bike: str
    job: str
    tier: str | None


def running(book: Book, now: datetime | None = None, *, asker: Asker) -> tuple[RunningClock, ...]:
    """Give every clock that runs or is paused, by mechanic, running ones before paused ones.

    `now` is the present unless another instant is asked for. Who is on which bike since when is
    told to everybody, so that nobody starts on it too; the minutes of others are left out.
    """
    at = datetime.now(UTC) if now is None else now
    clocks = [_clock(book, row, at) for row in _as_at(book, OPEN_CLOCKS, now).to_pylist()]
    clocks = [
        one if is_theirs(asker, one.mechanic) else replace(one, minutes=None, minutes_before=None)
        for one in clocks
    ]
    return tuple(sorted(clocks, key=lambda one: (one.mechanic, one.is_paused, one.since)))


def open_jobs(book: Book) -> tuple[OpenJob, ...]:
    """Give the jobs that are open, by bike and job."""
    rows = _as_at(book, OPEN_JOBS, None).select(["bike", "job", "tier"]).to_pylist()
    return tuple(sorted((OpenJob(**row) for row in rows), key=lambda one: (one.bike, one.job)))


def _as_at(book: Book, keep: Keep, as_at: datetime | None) -> pa.Table:
    """Give what a Keep holds: as kept, or worked out where it is not."""
    asked = asked_of(book, as_at, None)
    found = kept(book, keep, asked)
    return whole_table(book, keep.name, asked.as_at, asked.known_seq) if found is None else found


def _clock(book: Book, row: dict[str, Any], now: datetime) -> RunningClock:
    since, is_paused = row["since"].astimezone(UTC), row["is_paused"]
    local = book.settings.local
    return RunningClock(
        bike=row["bike"],
        job=row["job"],
        mechanic=row["actor"],
        task=row["task"],
        minutes_kind=row["minutes_kind"],
        since=since,
        is_paused=is_paused,
        minutes=0 if is_paused else max(0, (now - since + _MINUTE / 2) // _MINUTE),
        minutes_before=int(row["minutes_before"]),
        is_forgotten=not is_paused and local(since).date() < local(now).date(),
    )


def runs(clocks: Sequence[RunningClock], mechanic: str) -> RunningClock | None:
    """Give the clock that a mechanic's hands are on; None where none runs."""
    return next((one for one in clocks if one.mechanic == mechanic and not one.is_paused), None)


def paused(
    clocks: Sequence[RunningClock], mechanic: str, job: str | None = None
) -> tuple[RunningClock, ...]:
    """Give the clocks a mechanic has paused, of one job or of all, the last paused first."""
    found = [
        one
        for one in clocks
        if one.mechanic == mechanic and one.is_paused and job in (None, one.job)
    ]
    return tuple(sorted(found, key=lambda one: one.since, reverse=True))


def job_of(book: Book, bike: str, job: str | None = None) -> str:
    """Give the job to work on: the one asked for, or the only one open on the bike.

    Raises UnknownBike, and ClockRefused where none is open, or several are.
    """
    book.require_bike(bike)
    open_now = [one.job for one in bike_view(book, bike).jobs_open]
    if job is not None:
        return job
    if len(open_now) == 1:
        return open_now[0]
    if not open_now:
        raise ClockRefused(f"Bike {bike} has no open job. Book it in first (job_opened).")
    raise ClockRefused(f"Bike {bike} has several open jobs: say which, {' or '.join(open_now)}.")


def start_draft(
    clocks: Sequence[RunningClock],
    mechanic: str,
    bike: str,
    job: str,
    task: str,
    minutes_kind: str = "quoted",
    at: datetime | None = None,
) -> Draft:
    """Give what starts a mechanic's clock; raises ClockRefused where one of theirs runs."""
    busy = runs(clocks, mechanic)
    if busy is not None:
        on = f"{mechanic}'s clock runs on bike {busy.bike} ({busy.task}, job {busy.job})"
        if at is not None and at < busy.since:
            raise ClockRefused(f"{on} since later. Enter what was worked before it (clock log).")
        raise ClockRefused(f"{on}. Stop or pause it first.")
    data = {"task": task, "minutes_kind": minutes_kind}
    return _draft("labour_started", mechanic, bike, job, data, at)


def pause_draft(clock: RunningClock, at: datetime | None = None) -> Draft:
    """Give what pauses a running clock: its minutes so far are booked.

    Raises ClockRefused for one that is paused already, or was forgotten.
    """
    if clock.is_paused:
        raise ClockRefused(f"{_named(clock)} is paused already.")
    return stop_draft(clock, at=at, is_paused=True)


def resume_draft(
    clocks: Sequence[RunningClock], clock: RunningClock, at: datetime | None = None
) -> Draft:
    """Give what lets a paused clock go on; raises ClockRefused where it runs, or another does."""
    if not clock.is_paused:
        raise ClockRefused(f"{_named(clock)} is not paused: it runs.")
    what = (clock.bike, clock.job, clock.task, clock.minutes_kind)
    return start_draft(clocks, clock.mechanic, *what, at)


def stop_draft(
    clock: RunningClock,
    minutes: int | None = None,
    at: datetime | None = None,
    *,
    is_paused: bool = False,
) -> Draft:
    """Give what stops a running clock, with the minutes worked where they are entered.

    A forgotten clock needs its minutes, and then ends so long after it was started (not in the
    future), or the time it should have stopped. Raises ClockRefused where neither is given, and
    for a paused clock.
    """
    if clock.is_paused:
        raise ClockRefused(f"{_named(clock)} is paused: its minutes are booked already.")
    if clock.is_forgotten and minutes is None and at is None:
        raise ClockRefused(
            f"{_named(clock)} runs since another day. "
            "Enter the minutes worked, or when it should have stopped."
        )
    if clock.is_forgotten and at is None and minutes is not None:
        # its own minutes are rounded: one less has passed for sure
        passed = minutes if clock.minutes is None else max(clock.minutes - 1, 0)
        at = clock.since + min(minutes, passed) * _MINUTE
    data: dict[str, Any] = {} if minutes is None else {"minutes": minutes}
    if is_paused:
        data["is_paused"] = True
    return _draft("labour_stopped", clock.mechanic, clock.bike, clock.job, data, at)


def end_drafts(clock: RunningClock) -> list[Draft]:
    """Give what ends a paused clock for good: it runs for no time, and no minutes are added."""
    if not clock.is_paused:
        raise ClockRefused(f"{_named(clock)} runs: stop it.")
    where = (clock.mechanic, clock.bike, clock.job)
    again = {"task": clock.task, "minutes_kind": clock.minutes_kind}
    return [
        _draft("labour_started", *where, again, clock.since),
        _draft("labour_stopped", *where, {"minutes": 0}, clock.since),
    ]


def log_draft(
    mechanic: str,
    bike: str,
    job: str,
    task: str,
    minutes: int,
    minutes_kind: str = "quoted",
    at: datetime | None = None,
) -> Draft:
    """Give what books minutes afterwards."""
    data = {"task": task, "minutes": minutes, "minutes_kind": minutes_kind}
    return _draft("labour_logged", mechanic, bike, job, data, at)


def _named(clock: RunningClock) -> str:
    return f"{clock.mechanic}'s clock on bike {clock.bike} ({clock.task})"


def _draft(
    kind: str, mechanic: str, bike: str, job: str, data: Draft, at: datetime | None
) -> Draft:
    when = {} if at is None else {"occurred_at": format_moment(at)}
    return {"kind": kind, "bike": bike, "job": job, "actor": mechanic, **when, "data": data}
