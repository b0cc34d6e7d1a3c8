"""Clocks in words and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
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
            local = book.settings.local(one.since)
            say(
                f"Forgotten: {one.mechanic}'s clock on bike {one.bike} runs since "
                f"{local:%Y-%m-%d %H:%M}. End it with the minutes worked:"
            )
            say(f"  lockring clock stop --mechanic {one.mechanic} --minutes 45")
            say("or with when it should have stopped:")
            say(f'  lockring clock stop --mechanic {one.mechanic} --at "{local:%Y-%m-%d} 17:30"')


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
