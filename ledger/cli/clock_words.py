"""Clocks in words and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import timedelta
from typing import TYPE_CHECKING, Any

from ledger.cli.output import say, say_table
from ledger.events.types import format_moment

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.clocks import RunningClock


def clock_json(clock: RunningClock) -> dict[str, Any]:
    """Give one clock as plain JSON types."""
    return {**asdict(clock), "since": format_moment(clock.since)}


def say_clocks(book: Book, clocks: Sequence[RunningClock]) -> None:
    """Print what runs and what is paused, then how to end what was forgotten."""
    say_table(
        "Clocks",
        ("mechanic", "!bike", "task", "kind", "state", "since", ">min", ">before", "job"),
        [_row(book, one) for one in clocks],
    )
    for one in clocks:
        if one.is_forgotten:
            say(f"Forgotten: {forgotten(book, one)}")
            for line in how_to_end(book, one):
                say(line)


def forgotten(book: Book, clock: RunningClock) -> str:
    """Say which clock was left running, and since when."""
    since = f"{book.settings.local(clock.since):%Y-%m-%d %H:%M}"
    return f"{clock.mechanic}'s clock on bike {clock.bike} runs since {since}, another day."


def how_to_end(book: Book, clock: RunningClock) -> tuple[str, ...]:
    """Give the commands that end a forgotten clock; the time shown is on the day of its start."""
    since = book.settings.local(clock.since)
    at = min(since + timedelta(minutes=45), since.replace(hour=23, minute=59))
    stop = f"  lockring clock stop --mechanic {clock.mechanic}"
    return (
        "End it with the minutes worked:",
        f"{stop} --minutes 45",
        "or with when it should have stopped:",
        f'{stop} --at "{at:%Y-%m-%d %H:%M}"',
    )


def _row(book: Book, one: RunningClock) -> tuple[str, ...]:
    task = book.vocabulary.tasks.get(one.task)
    state = "paused" if one.is_paused else "forgotten" if one.is_forgotten else "runs"
    return (
        one.mechanic,
        one.bike,
        task.label if task else one.task,
        one.minutes_kind,
        state,
        f"{book.settings.local(one.since):%Y-%m-%d %H:%M}",
        "" if one.is_paused or one.is_forgotten else str(one.minutes),
        str(one.minutes_before),
        one.job,
    )
