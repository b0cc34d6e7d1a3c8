"""Clocks on the page: how they stand, and what a press records or is refused."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import paid_book
import pytest
import streamlit as st
from paid_book import ON_THE_BENCH, OPEN_JOB

from dashboard import data, time_clock
from dashboard.labour_say import LabourSay
from ledger import clocks
from ledger.book import Book
from ledger.clocks import OpenJob

BENCH = OpenJob(ON_THE_BENCH, OPEN_JOB, paid_book.SERVICE)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """A book with a job open since yesterday, as Lockring opens it."""
    st.cache_data.clear()
    return paid_book.paid_book(tmp_path / "book", opened=paid_book.yesterday())


def say(book: Book) -> LabourSay:
    """Give how the book is written."""
    return LabourSay(book.settings, book.vocabulary)


def test_a_clock_is_started_paused_resumed_and_stopped(book: Book) -> None:
    """Each press is one event in the book, and the clock stands as it was left."""
    assert time_clock.started(book, "ada", BENCH, "brakes", "quoted").is_recorded
    (one,) = time_clock.running(book)
    assert (one.bike, one.task, time_clock.state(one)) == (ON_THE_BENCH, "brakes", "runs")
    assert time_clock.paused(book, one).words == "The clock is paused."
    (one,) = time_clock.running(book)
    assert time_clock.state(one) == "paused"
    assert time_clock.resumed(book, one).is_recorded
    (one,) = time_clock.running(book)
    assert time_clock.stopped(book, one).is_recorded
    assert time_clock.running(book) == []
    kinds = [event.kind for event in book.bike_events(ON_THE_BENCH)][-4:]
    assert kinds == ["labour_started", "labour_stopped"] * 2


def test_a_second_clock_of_one_mechanic_is_refused_in_one_line(book: Book) -> None:
    """What is refused is said, with what to do; nothing is recorded."""
    time_clock.started(book, "ada", BENCH, "brakes", "quoted")
    head = book.head
    said = time_clock.started(book, "ada", BENCH, "gears", "quoted")
    assert not said.is_recorded
    assert "Stop or pause it first." in said.words
    assert "\n" not in said.words
    assert book.head == head


def test_minutes_entered_afterwards_are_in_the_book(book: Book) -> None:
    """Minutes of a kind stand there with their task."""
    assert time_clock.logged(book, "ada", BENCH, "gears", "goodwill", 25).is_recorded
    last = list(book.bike_events(ON_THE_BENCH))[-1]
    assert last.kind == "labour_logged"
    assert (last.data.task, last.data.minutes, last.data.minutes_kind) == ("gears", 25, "goodwill")


def test_a_forgotten_clock_asks_for_its_minutes(book: Book) -> None:
    """It comes first; stopping it without minutes is refused, with them it ends on its own day."""
    at = datetime.now(UTC) - timedelta(hours=23, minutes=59)
    book.append([clocks.start_draft((), "ada", ON_THE_BENCH, OPEN_JOB, "brakes", at=at)])
    (one,) = time_clock.running(book)
    assert time_clock.state(one) == "forgotten"
    refused = time_clock.stopped(book, one)
    assert not refused.is_recorded
    assert "Enter the minutes worked" in refused.words
    assert time_clock.stopped(book, one, 20).is_recorded
    assert time_clock.running(book) == []


def test_after_quiet_days_the_computers_clock_is_asked_about_first(tmp_path: Path) -> None:
    """Nothing is recorded until somebody says that date and time are right."""
    st.cache_data.clear()
    old = paid_book.paid_book(tmp_path / "book")
    quiet = Book.open(tmp_path / "book", clock=lambda: datetime.now(UTC) + timedelta(days=3))
    said = time_clock.logged(quiet, "ada", BENCH, "gears", "quoted", 25)
    assert not said.is_recorded
    assert said.again is not None
    assert said.words == time_clock.JUMPED
    assert old.head == quiet.head
    assert said.again().is_recorded


def test_clocks_are_said_by_state(book: Book) -> None:
    """How many run, are paused and were forgotten; each with its word, shape, bike and task."""
    words = data.words_of(book)
    assert time_clock.title([], say(book)) == "No clock runs"
    time_clock.started(book, "ada", BENCH, "brakes", "found later")
    found = time_clock.running(book)
    assert time_clock.title(found, say(book)) == "1 clock runs"
    line = time_clock.clock_line(found[0], words, say(book))
    assert "ada on brakes, found later, bike" in line
    assert "lk-shape-open" in line
    assert f"bike?tag={ON_THE_BENCH}" in line


def test_open_jobs_are_offered(book: Book) -> None:
    """The jobs that minutes can go on are those that are open."""
    assert time_clock.open_jobs(book) == [BENCH]
