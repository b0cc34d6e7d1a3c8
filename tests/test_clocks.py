"""Clocks as a page moves them: what runs at an instant, and which events move it."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from ledger import clocks
from ledger.asking import OWNER
from ledger.book import Book
from ledger.clocks import ClockRefused, RunningClock
from ledger.events.types import format_moment

TAG = "7K3M9QXA"
EVENING = datetime(2026, 3, 2, 23, 30, tzinfo=UTC)
"""Half past midnight of 3 March in Amsterdam."""


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """A bike booked in on 2 March; what is recorded is recorded on the 5th."""
    late = datetime(2026, 3, 5, 12, tzinfo=UTC)
    book = Book.init(tmp_path / "b", shop="quay", time_zone="Europe/Amsterdam", clock=lambda: late)
    of_bike = {"bike": TAG, "actor": "m1", "occurred_at": "2026-03-02T08:00:00Z", "data": {}}
    book.append(
        [
            {**of_bike, "kind": "bike_registered"},
            {**of_bike, "kind": "job_opened", "job": "j1"},
        ]
    )
    return book


def clock(**more: object) -> RunningClock:
    """A clock of m1 that runs since the evening."""
    told = {
        "bike": TAG, "job": "j1", "mechanic": "m1", "task": "brakes", "minutes_kind": "quoted",
        "since": EVENING, "is_paused": False, "minutes": 5, "minutes_before": 0,
        "is_forgotten": False,
    }  # fmt: skip
    return RunningClock(**(told | more))  # type: ignore[arg-type]  # any of its fields


@pytest.mark.parametrize(("minutes", "is_forgotten"), [(25, False), (30, True)])
def test_a_clock_is_forgotten_once_the_local_day_has_ended(
    book: Book, minutes: int, is_forgotten: bool
) -> None:
    """The day is that of the shop: half an hour before its midnight the clock still counts."""
    began = EVENING - timedelta(hours=1)
    book.append([clocks.start_draft((), "m1", TAG, "j1", "brakes", at=began)])
    (one,) = clocks.running(book, began + timedelta(minutes=minutes), asker=OWNER)
    assert (one.minutes, one.is_forgotten) == (minutes, is_forgotten)


def test_the_clocks_of_an_instant_are_those_of_that_instant(book: Book) -> None:
    """Asked for an earlier instant, what was stopped later runs."""
    draft = clocks.start_draft((), "m1", TAG, "j1", "brakes", at=EVENING)
    book.append([draft])
    (one,) = clocks.running(book, EVENING + timedelta(minutes=9), asker=OWNER)
    book.append([clocks.stop_draft(one, at=EVENING + timedelta(minutes=20))])
    assert clocks.running(book, EVENING + timedelta(minutes=20), asker=OWNER) == ()
    (again,) = clocks.running(book, EVENING + timedelta(minutes=9), asker=OWNER)
    assert (again.minutes, again.task) == (9, "brakes")


def test_minutes_of_a_forgotten_clock_end_it_so_long_after_its_start() -> None:
    """40 minutes worked end 40 minutes after the start, not when somebody noticed."""
    draft = clocks.stop_draft(clock(is_forgotten=True, minutes=600), 40)
    assert draft["occurred_at"] == "2026-03-03T00:10:00.000000Z"
    assert draft["data"] == {"minutes": 40}


def test_a_forgotten_clock_never_ends_in_the_future() -> None:
    """Noticed 20 minutes after a start before midnight, 40 minutes end it 19 after the start."""
    forgotten = clock(is_forgotten=True, minutes=20)
    draft = clocks.stop_draft(forgotten, 40)
    assert draft["occurred_at"] == format_moment(forgotten.since + timedelta(minutes=19))
    assert draft["data"] == {"minutes": 40}


@pytest.mark.parametrize(
    ("move", "said"),
    [
        (lambda: clocks.stop_draft(clock(is_forgotten=True)), "Enter the minutes worked"),
        (lambda: clocks.pause_draft(clock(is_forgotten=True)), "Enter the minutes worked"),
        (lambda: clocks.pause_draft(clock(is_paused=True)), "is paused already"),
        (lambda: clocks.stop_draft(clock(is_paused=True)), "booked already"),
        (lambda: clocks.resume_draft((), clock()), "is not paused"),
        (lambda: clocks.resume_draft((clock(),), clock(is_paused=True)), "Stop or pause it"),
        (lambda: clocks.end_drafts(clock()), "stop it"),
    ],
)
def test_a_clock_that_cannot_be_moved_like_that_says_so(move, said) -> None:  # type: ignore[no-untyped-def]  # of lambdas
    """Nothing is drafted, and the message says what would be right."""
    with pytest.raises(ClockRefused, match=said):
        move()


def test_two_open_jobs_ask_for_the_one_that_is_meant(book: Book) -> None:
    """With several jobs open nobody guesses; the job that is named is taken."""
    opened = {"bike": TAG, "actor": "m1", "kind": "job_opened", "job": "j2", "data": {}}
    assert clocks.job_of(book, TAG) == "j1"
    book.append([opened])
    with pytest.raises(ClockRefused, match="j1 or j2"):
        clocks.job_of(book, TAG)
    assert clocks.job_of(book, TAG, "j2") == "j2"
