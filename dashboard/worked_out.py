"""What the pages have worked out from a book, remembered until its head or the day moves."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime
from functools import partial
from typing import Any

import streamlit as st

from dashboard import data, stands
from ledger.asking import Asker
from ledger.book import Book
from ledger.figures import due_day
from ledger.figures.ahead import BookTables
from ledger.figures.bench import BikeChoice, NoChoice, choice_from
from ledger.figures.calls import DueList
from ledger.figures.chain_book import ChainBook
from ledger.figures.chain_keep import BookChains, book_chains, choice_on
from ledger.figures.chain_report import ChainsReport
from ledger.figures.chains import chain_book, shown_to
from ledger.figures.come_backs import WindowAsked
from ledger.figures.due import SEEN_WITHIN_DAYS, due_list
from ledger.figures.fault_bike import bike_faults
from ledger.figures.fault_shapes import (
    BikeComeBacks,
    BikeFaults,
    By,
    Measure,
    Pareto,
)
from ledger.figures.faults import BookFaults, faults_of
from ledger.figures.part_lives import FamilyLives, lives_of_family
from ledger.figures.wear import BookWear, wear_as_at, wear_of
from ledger.figures.worn import Worn


def wear(book: Book, day: date | None = None) -> BookWear:
    """Give how everything wears, as at the end of a day; None for now."""
    today = data.today(book)
    wanted = today if day is None else min(day, today)
    is_now = wanted == today
    return _wear(book, str(book.path), _commit(book, is_now), wanted, is_now)


def _commit(book: Book, is_now: bool, sort: stands.Sort = "wear") -> int:
    """Give the commit as of which great figures stand: the past is always as it is known last."""
    return stands.commit_shown(book, sort=sort) if is_now else book.head.commit


@st.cache_resource(show_spinner=False, max_entries=3)
def _wear(_book: Book, path: str, commit: int, day: date, is_now: bool) -> BookWear:
    stood = stands.shown(_book, commit, "wear") if is_now else None
    if isinstance(stood, Worn):
        return wear_as_at(_book, stood, datetime.now(UTC))
    return wear_of(_book, None if is_now else data.end_of(_book, day))


def families(wear: BookWear) -> Mapping[str, str]:
    """Give the family of every series, such as `chain elongation`."""
    return wear.family_names


def reading_errors(wear: BookWear, series: str) -> Mapping[str, float]:
    """Give one standard deviation of a reading by gauge, where it was measured for this family."""
    for each in wear.fit.families:
        if series in each.family.series and each.scales is not None:
            return dict(zip(each.family.gauges, map(float, each.scales.error), strict=True))
    return {}


def lives(book: Book, wear: BookWear, family: str, unit: str) -> FamilyLives:
    """Give how long the parts of a family last."""
    commit = _commit(book, wear.today >= data.today(book))
    return _lives(wear, str(book.path), commit, wear.today, family, unit)


@st.cache_resource(show_spinner=False, max_entries=40)
def _lives(
    _wear: BookWear, path: str, commit: int, day: date, family: str, unit: str
) -> FamilyLives:
    return lives_of_family(_wear, family, "km" if unit == "km" else "days")


def due(book: Book, day: date | None, within_days: int, *, is_every: bool = False) -> DueList:
    """Give whom to call about what is due within some days of the end of a day; None for now.

    `is_every`: also about bikes that were not seen for long.
    """
    today = data.today(book)
    changed_at = data.register_at(book)
    commit = _commit(book, day is None or day >= today)
    key = (str(book.path), commit, changed_at, today if day is None else day)
    seen_within = None if is_every else SEEN_WITHIN_DAYS
    is_now = key[3] == today
    is_kept = is_now and commit == book.head.commit and due_day.is_great(book)
    worn = None if is_kept else wear(book, day)
    return _due(book, worn, key, within_days, seen_within, is_now)


@st.cache_resource(show_spinner=False, max_entries=12)
def _due(
    _book: Book,
    _wear: BookWear | None,
    key: tuple[str, int, int, date],
    within_days: int,
    seen_within_days: int | None,
    is_now: bool,
) -> DueList:
    as_at = None if is_now or _wear is None else _wear.as_at
    return due_list(
        _book, as_at, within_days=within_days, seen_within_days=seen_within_days, wear=_wear
    )


def chains(book: Book, day: date | None) -> ChainsReport:
    """Give what is known of chains that run long, as at the end of a day; None for now."""
    report = _chains(book, *_of_chains(book, day)).report
    return shown_to(report, asker=data.asker().of_role)


def _of_chains(book: Book, day: date | None) -> tuple[str, int, date, bool]:
    """Give the same as `_key_of` for what may stand for a while."""
    path, _, wanted, is_now = _key_of(book, day)
    return path, _commit(book, is_now, "chains"), wanted, is_now


def _key_of(book: Book, day: date | None) -> tuple[str, int, date, bool]:
    """Give what a book's figures as at a day depend on: path, head, the day, and if it is now."""
    wanted = data.today(book) if day is None else day
    return str(book.path), book.head.commit, wanted, day is None


@st.cache_resource(show_spinner=False, max_entries=4)
def _chains(_book: Book, path: str, commit: int, day: date, is_now: bool) -> BookChains:
    stood = stands.shown(_book, commit, "chains") if is_now else None
    if isinstance(stood, BookChains):
        return stood
    return book_chains(_book, BookTables(_book, None if is_now else data.end_of(_book, day)))


@st.cache_resource(show_spinner=False, max_entries=4)
def _chain_book(_book: Book, path: str, commit: int, day: date, is_now: bool) -> ChainBook:
    return chain_book(_book, None if is_now else data.end_of(_book, day))


def choice(book: Book, day: date | None, tag: str) -> BikeChoice | NoChoice:
    """Give the choice over a bike's worn chain, as at the end of a day; None for now."""
    key, tags = _of_chains(book, day), book.aliases().get(tag)
    stood = stands.shown(book, key[1], "chains") if day is None else None
    if isinstance(stood, BookChains):
        return choice_from(stood.drivetrains, tag, tags)
    ahead = BookTables(book, None if day is None else data.end_of(book, day))
    return choice_on(book, ahead, tag, tags, partial(_chain_book, book, *key))


def faults(book: Book, day: date | None = None, window: WindowAsked | None = None) -> BookFaults:
    """Give a book's faults as at the end of a day; None for now, and for the shop's own windows."""
    return _faults(book, *_key_of(book, day), window, data.asker().of_role)


@st.cache_resource(show_spinner=False, max_entries=6)
def _faults(
    _book: Book,
    path: str,
    commit: int,
    day: date,
    is_now: bool,
    window: WindowAsked | None,
    asker: Asker,
) -> BookFaults:
    as_at = None if is_now else data.end_of(_book, day)
    return faults_of(_book, as_at, window=window, asker=asker)


def pareto(book: Book, found: BookFaults, by: By, measure: Measure) -> Pareto:
    """Give what came back by one thing, most of a measure first."""
    return _pareto(found, *_key_of(book, found.today), found.window, found.asker, by, measure)


@st.cache_resource(show_spinner=False, max_entries=40)
def _pareto(
    _found: BookFaults,
    path: str,
    commit: int,
    day: date,
    is_now: bool,
    window: WindowAsked | None,
    asker: Asker,
    by: By,
    measure: Measure,
) -> Pareto:
    return _found.pareto(by, measure)


def bikes_behind(
    book: Book, found: BookFaults, by: By, key: str | None
) -> tuple[BikeComeBacks, ...]:
    """Give the bikes behind a row of a Pareto, most come-backs first."""
    return _bikes_behind(found, *_key_of(book, found.today), found.window, found.asker, by, key)


@st.cache_resource(show_spinner=False, max_entries=40)
def _bikes_behind(
    _found: BookFaults,
    path: str,
    commit: int,
    day: date,
    is_now: bool,
    window: WindowAsked | None,
    asker: Asker,
    by: By,
    key: str | None,
) -> tuple[BikeComeBacks, ...]:
    return _found.bikes(by, key)


def faults_of_bike(
    book: Book, tag: str, day: date | None = None, window: WindowAsked | None = None
) -> BikeFaults:
    """Give one bike's faults as at the end of a day; raises UnknownBike."""
    return _faults_of_bike(book, *_key_of(book, day), window, tag, data.asker().of_role)


@st.cache_resource(show_spinner=False, max_entries=100)
def _faults_of_bike(
    _book: Book,
    path: str,
    commit: int,
    day: date,
    is_now: bool,
    window: WindowAsked | None,
    tag: str,
    asker: Asker,
) -> BikeFaults:
    as_at = None if is_now else data.end_of(_book, day)
    return bike_faults(_book, tag, as_at, window=window, asker=asker)


def drawn(book: Book, day: date, key: str, build: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    """Give a chart as it was built before for this book, day, key and role, or build it."""
    kept = (str(book.path), book.head.commit, data.register_at(book), day, key)
    return _drawn(build, *kept, data.asker().of_role)


@st.cache_data(show_spinner=False, max_entries=300)
def _drawn(
    _build: Callable[[], dict[str, Any]],
    path: str,
    commit: int,
    register_at: int,
    day: date,
    key: str,
    asker: Asker,
) -> dict[str, Any]:
    return _build()
