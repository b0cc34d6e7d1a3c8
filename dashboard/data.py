"""What the pages read from the book, remembered until its head moves."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from pathlib import Path
from typing import Any

import streamlit as st

from dashboard import gate
from dashboard.charts import Frame, Scale, reading_chart
from dashboard.entries import Entry, fitting_days, reading_points
from dashboard.filters import fold_tag
from dashboard.formats import Formats, find_locale
from dashboard.history import timeline_entries
from dashboard.lines import named_as
from dashboard.series import Series
from dashboard.words import Words
from ledger import queries
from ledger.asking import Asker
from ledger.book import Book
from ledger.figures import home_bikes
from ledger.home import words_of as silence_words
from ledger.view import BikeView

BOOK_VARIABLE = "LOCKRING_BOOK"
MOST_FOUND = 1_000
"""How many bikes a search gives at most."""


def book_path() -> Path:
    """Give where the book is: the argument after `--`, else LOCKRING_BOOK, else `book`."""
    given = [argument for argument in sys.argv[1:] if not argument.startswith("-")]
    return Path(given[-1] if given else os.environ.get(BOOK_VARIABLE) or "book")


@st.cache_resource(show_spinner=False)
def _open(path: str) -> Book:
    return Book.open(Path(path))


def open_book() -> Book:
    """Give the book, opened once for the server; raises NoBook, BookDamaged."""
    return _open(str(book_path()))


def silence(book: Book) -> str:
    """Say, while the place the book is on does not answer, what is read instead; else nothing."""
    book.home.store.names()  # asks the place, unless that was done a moment ago
    found = book.home.silence
    return silence_words(found, book.settings) if found else ""


def asker() -> Asker:
    """Give who asks in this session: what the book gives them depends on it.

    Raises NotSignedIn where the sign-in of this session has ended.

    Whatever is kept between sessions and depends on it has it in its key.
    """
    return gate.asker()


@dataclass(frozen=True)
class Found:
    """One bike in a list."""

    tag: str
    name: str
    seen_at: datetime | None


@dataclass(frozen=True)
class Bike:
    """One bike with everything that was recorded of it, oldest first."""

    tag: str
    other_tags: list[str]
    """The tags that were joined to it, sorted."""
    name: str
    entries: list[Entry]
    days: list[date]
    """The days on which something happened, in the book's time zone, without repeats."""


def words_of(book: Book) -> Words:
    """Give the book's labels and its way of writing figures and dates."""
    formats = Formats(find_locale(book.settings.locale), book.settings.zone)
    return Words(book.vocabulary, formats)


def register_at(book: Book) -> int:
    """Give when the register last changed: a name or key that is gone is shown no longer."""
    # On an object store another machine may have changed it: these look.
    book.riders.get("")
    book.keys.follow()
    register = book.path / "riders.sqlite"
    return register.stat().st_mtime_ns if register.exists() else 0


def end_of(book: Book, day: date) -> datetime:
    """Give the last instant of a day in the book's time zone."""
    return book.instant(day.isoformat())


def today(book: Book) -> date:
    """Give today's date in the book's time zone."""
    return datetime.now(book.settings.zone).date()


def tags(book: Book) -> list[str]:
    """Give every tag of the book, sorted."""
    return _tags(book, book.head.commit)


@st.cache_data(show_spinner=False, max_entries=4)
def _tags(_book: Book, commit: int) -> list[str]:
    return _book.bikes()


def has_jobs(book: Book) -> bool:
    """Say whether the book holds any job."""
    return _has_jobs(book, book.head.commit)


@st.cache_data(show_spinner=False, max_entries=4)
def _has_jobs(_book: Book, commit: int) -> bool:
    return home_bikes.has_jobs(_book)


def first_day(book: Book) -> date:
    """Give the day something was first recorded of a bike; today where nothing was."""
    seen_at = _first_seen_at(book, book.head.commit)
    return seen_at.astimezone(book.settings.zone).date() if seen_at else today(book)


@st.cache_data(show_spinner=False, max_entries=4)
def _first_seen_at(_book: Book, commit: int) -> datetime | None:
    return home_bikes.first_seen_at(_book)


def found(book: Book, asked: str) -> list[Found]:
    """Give the bikes whose tag, make or model has what is asked for, seen last first.

    At most MOST_FOUND of them.
    """
    return _found(book, book.head.commit, asked)


@st.cache_data(show_spinner=False, max_entries=200)
def _found(_book: Book, commit: int, asked: str) -> list[Found]:
    rows = home_bikes.bikes_like(_book, asked, MOST_FOUND)
    folded = fold_tag(asked)
    if folded.lower() != asked.lower():
        seen = {row.bike for row in rows}
        rows += [
            row for row in home_bikes.bikes_like(_book, folded, MOST_FOUND) if row.bike not in seen
        ]
    return [Found(row.bike, name_of(row.make, row.model), row.last_seen_at) for row in rows]


def named(book: Book, wanted: Iterable[str]) -> list[Found]:
    """Give bikes by tag, in the order asked for; raises UnknownBike."""
    bikes = [bike(book, tag) for tag in wanted]
    return [Found(one.tag, one.name, one.entries[-1].occurred_at) for one in bikes]


def name_of(make: str | None, model: str | None) -> str:
    """Give what a bike is called: its make and model, or that they are not known."""
    return named_as(make, model) or "Make not known"


def view(book: Book, tag: str, as_at: datetime) -> BikeView:
    """Give the bike as at an instant; raises UnknownBike."""
    return _view(book, book.head.commit, tag, as_at)


@st.cache_data(show_spinner=False, max_entries=500)
def _view(_book: Book, commit: int, tag: str, as_at: datetime) -> BikeView:
    return queries.bike_view(_book, tag, as_at)


def bike(book: Book, tag: str) -> Bike:
    """Give a bike with its whole timeline in words; raises UnknownBike."""
    return _bike(book, book.head.commit, register_at(book), tag, asker())


@st.cache_data(show_spinner=False, max_entries=50)
def _bike(_book: Book, commit: int, register_at: int, tag: str, asker: Asker) -> Bike:
    words = words_of(_book)
    entries = timeline_entries(_book, tag, words, partial(person, _book), asker)
    days = list(dict.fromkeys(words.formats.local(e.occurred_at).date() for e in entries))
    registered = next((e.data for e in entries if e.kind == "bike_registered"), {})
    name = name_of(registered.get("make"), registered.get("model"))
    others = sorted(_book.aliases().get(tag, frozenset()) - {tag})
    return Bike(tag, others, name, entries, days)


def drawn(book: Book, bike: Bike, shown: Series, frame: Frame) -> dict[str, Any]:
    """Give the chart of a series, over the bike's whole time, as a dict."""
    scale = Scale(shown.unit, words_of(book).worn_side(shown.position, shown.quantity))
    return _drawn(bike, frame, book.head.commit, bike.tag, shown.key, scale, frame.span)


@st.cache_data(show_spinner=False, max_entries=300)
def _drawn(
    _bike: Bike,
    _frame: Frame,
    commit: int,
    tag: str,
    key: tuple[str, str, str | None],
    scale: Scale,
    span: tuple[datetime, datetime],
) -> dict[str, Any]:
    points = [one for one in reading_points(_bike.entries) if one.key == key]
    chart = reading_chart(points, scale, fitting_days(_bike.entries, key[0]), _frame)
    return dict(chart.to_dict())


def person(book: Book, rider: str | None) -> str:
    """Give a rider's name from the register; the id alone where no name is there (any more)."""
    if rider is None:
        return "nobody named"
    row = book.riders.get(rider)
    return row.name if row and row.name else rider
