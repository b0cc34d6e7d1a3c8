"""What the home page shows, remembered until the book's head or the minute moves."""

from __future__ import annotations

from datetime import UTC, date, datetime

import streamlit as st

from dashboard import data
from ledger.asking import Asker
from ledger.book import Book
from ledger.figures import home_bench, home_bikes, home_decisions, home_month
from ledger.figures.home_shapes import (
    BenchJob,
    BikeLine,
    Month,
    MonthJob,
    MonthSpan,
    Name,
    Sort,
    Waiting,
)

Key = tuple[str, int, datetime]
"""What the bench depends on: the book, its head, and the minute, for promised times pass."""


def _minute(book: Book) -> Key:
    now = datetime.now(UTC).replace(second=0, microsecond=0)
    return str(book.path), book.head.commit, now


def bench(book: Book) -> tuple[tuple[BenchJob, ...], int]:
    """Give the jobs open now, at most as many as are listed, and how many there are."""
    return _bench(book, _minute(book), data.asker())


@st.cache_data(show_spinner=False, max_entries=12)
def _bench(_book: Book, key: Key, asker: Asker) -> tuple[tuple[BenchJob, ...], int]:
    return home_bench.bench_today(_book, asker=asker), home_bench.count_open(_book)


def decisions(book: Book) -> dict[Sort, tuple[Waiting, ...]]:
    """Give what waits for a decision, by what it is."""
    return _decisions(book, _minute(book), data.asker())


@st.cache_data(show_spinner=False, max_entries=12)
def _decisions(_book: Book, key: Key, asker: Asker) -> dict[Sort, tuple[Waiting, ...]]:
    return home_decisions.decisions(_book, asker=asker)


def month(book: Book) -> Month:
    """Give the three figures of the month."""
    return _month(book, str(book.path), book.head.commit, data.today(book), data.asker())


@st.cache_data(show_spinner=False, max_entries=12)
def _month(_book: Book, path: str, commit: int, day: date, asker: Asker) -> Month:
    return home_month.month_of(_book, home_month.month_span(_book), asker=asker)


def month_jobs(book: Book, span: MonthSpan, name: Name) -> tuple[MonthJob, ...]:
    """Give the jobs behind a figure of the month; raises WrongUse for one of another role."""
    return _month_jobs(book, str(book.path), book.head.commit, span, name, data.asker())


@st.cache_data(show_spinner=False, max_entries=12)
def _month_jobs(
    _book: Book, path: str, commit: int, span: MonthSpan, name: Name, asker: Asker
) -> tuple[MonthJob, ...]:
    return home_month.month_jobs(_book, span, name, asker=asker)


def lines(book: Book, tags: tuple[str, ...]) -> dict[str, BikeLine]:
    """Give what some bikes are called, by tag."""
    return _lines(book, str(book.path), book.head.commit, tags)


@st.cache_data(show_spinner=False, max_entries=40)
def _lines(_book: Book, path: str, commit: int, tags: tuple[str, ...]) -> dict[str, BikeLine]:
    return home_bikes.bike_lines(_book, tags)
