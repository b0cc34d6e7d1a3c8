"""Clocks on the page: how they stand in words, and what moves them, recorded or refused."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from threading import Lock

import streamlit as st

from dashboard import bench_told, data
from dashboard.labour_say import LabourSay
from dashboard.markup import marked, text
from dashboard.words import Words
from ledger import clocks
from ledger.asking import Asker
from ledger.book import Book
from ledger.clocks import Draft, OpenJob, RunningClock
from ledger.errors import ClockJumped, LedgerError, Refused

WRITING = Lock()
"""One commit of this server at a time: its pages share one open book."""
STATES = {"forgotten": "due", "runs": "open", "paused": "not checked"}
"""What a clock's state is shown as: the word, and the shape beside it."""
INCOMPLETE = "Say who, on which bike, and at what. Nothing was recorded."
JUMPED = (
    "The last entry is more than a day old: are this computer's date and time right? Nothing was "
    "recorded yet."
)


@dataclass(frozen=True)
class Said:
    """What came of a press: in one line, and whether it was recorded."""

    words: str
    is_recorded: bool
    again: Callable[[], Said] | None = None
    """Records it after all, where only the computer's own clock was in doubt."""


def state(clock: RunningClock) -> str:
    """Give a clock's state in a word."""
    return "forgotten" if clock.is_forgotten else "paused" if clock.is_paused else "runs"


def in_order(found: Sequence[RunningClock]) -> list[RunningClock]:
    """Give forgotten clocks first, then those that run, then paused ones."""
    return sorted(found, key=lambda one: (list(STATES).index(state(one)), one.since))


def title(found: Sequence[RunningClock], say: LabourSay) -> str:
    """Give how many clocks run, are paused, and were forgotten."""
    if not found:
        return "No clock runs"
    count = {name: sum(state(one) == name for one in found) for name in STATES}
    told = [
        (count["runs"], "runs", "run"),
        (count["paused"], "is paused", "are paused"),
        (count["forgotten"], "was forgotten", "were forgotten"),
    ]
    parts = [f"{say.figure(many)} {one if many == 1 else more}" for many, one, more in told if many]
    if len(found) == 1:
        return f"1 clock {parts[0].split(' ', 1)[1]}"
    return f"{say.count(len(found), 'clock')}: {', '.join(parts)}"


def clock_line(clock: RunningClock, words: Words, say: LabourSay) -> str:
    """Give one clock: its state, who is on what, and since when."""
    name = state(clock)
    what = f"{clock.mechanic} on {say.task(clock.task)}, {clock.minutes_kind}"
    bike = f'<a href="bike?tag={text(clock.bike)}" target="_self">{text(clock.bike)}</a>'
    small = "; ".join(_since(clock, words, say))
    return (
        f'<div class="lk-clock">{marked(STATES[name], name)}<p>{text(what)}, bike {bike}'
        f"<small>{text(small)}; job {text(clock.job)}</small></p></div>"
    )


def _since(clock: RunningClock, words: Words, say: LabourSay) -> list[str]:
    formats = words.formats
    is_today = formats.local(clock.since).date() == datetime.now(formats.zone).date()
    when = formats.time(clock.since) if is_today else formats.moment(clock.since)
    said = [f"since {when}"]
    if not clock.is_paused and not clock.is_forgotten and clock.minutes is not None:
        said.append(say.minutes(clock.minutes))
    if clock.minutes_before:
        said.append(f"{say.minutes(clock.minutes_before)} before")
    return said


# -- what stands in the book ------------------------------------------------------------------


def running(book: Book) -> list[RunningClock]:
    """Give the clocks as they stand, to the minute."""
    now = datetime.now(UTC)
    minute = now.replace(second=0, microsecond=0)
    return _running(book, str(book.path), book.head.commit, minute, data.asker())


@st.cache_data(show_spinner=False, max_entries=12)
def _running(
    _book: Book, path: str, commit: int, minute: datetime, asker: Asker
) -> list[RunningClock]:
    return in_order(clocks.running(_book, asker=asker))


def _now(book: Book) -> Sequence[RunningClock]:
    return clocks.running(book, asker=data.asker())


def open_jobs(book: Book) -> list[OpenJob]:
    """Give the jobs that are open, by bike."""
    return _open_jobs(book, str(book.path), book.head.commit)


@st.cache_data(show_spinner=False, max_entries=4)
def _open_jobs(_book: Book, path: str, commit: int) -> list[OpenJob]:
    return list(clocks.open_jobs(_book))


# -- what moves them --------------------------------------------------------------------------


def recorded(
    book: Book,
    make: Callable[[], Sequence[Draft]],
    done: str,
    *,
    is_clock_right: bool = False,
    only_if: Callable[[], None] | None = None,
) -> Said:
    """Record what a press asks for; a refusal is said in one line, and nothing is recorded.

    After days without an entry the computer's clock may be wrong: that is asked first. `only_if`:
    see `Book.append`.
    """
    try:
        with WRITING:
            receipt = book.append(list(make()), confirm_clock=is_clock_right, only_if=only_if)
    except ClockJumped:
        return Said(JUMPED, False, lambda: recorded(
            book, make, done, is_clock_right=True, only_if=only_if
        ))  # fmt: skip
    except Refused as refused:
        return Said(bench_told.lines(data.words_of(book), refused.problems), False)
    except LedgerError as error:
        return Said(" ".join(str(error).split()), False)
    told = bench_told.lines(data.words_of(book), receipt.warnings)
    warned = f" {told}" if told else ""
    return Said(f"{done}.{warned}", True)


def started(book: Book, mechanic: str, on: OpenJob, task: str, kind: str) -> Said:
    """Start a mechanic's clock."""
    return recorded(
        book,
        lambda: [
            clocks.start_draft(_now(book), mechanic, on.bike, on.job, task, kind)
        ],
        "The clock runs",
    )  # fmt: skip


def logged(book: Book, mechanic: str, on: OpenJob, task: str, kind: str, minutes: int) -> Said:
    """Enter minutes afterwards."""
    return recorded(
        book,
        lambda: [clocks.log_draft(mechanic, on.bike, on.job, task, minutes, kind)],
        "The minutes are in the book",
    )


def paused(book: Book, clock: RunningClock) -> Said:
    """Pause a running clock."""
    return recorded(book, lambda: [clocks.pause_draft(clock)], "The clock is paused")


def resumed(book: Book, clock: RunningClock) -> Said:
    """Let a paused clock go on."""
    return recorded(book, lambda: [clocks.resume_draft(_now(book), clock)], "The clock runs again")


def stopped(book: Book, clock: RunningClock, minutes: int | None = None) -> Said:
    """Stop a clock: a running one, a forgotten one with its minutes, or a paused one for good."""
    if clock.is_paused:
        return recorded(book, lambda: clocks.end_drafts(clock), "The clock is ended")
    return recorded(book, lambda: [clocks.stop_draft(clock, minutes)], "The clock is stopped")
