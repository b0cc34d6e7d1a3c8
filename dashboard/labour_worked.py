"""Minutes, earnings and forecasts of a book, remembered until its head or the day moves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

import streamlit as st

from dashboard import data
from ledger.asking import Asker
from ledger.book import Book
from ledger.figures.foresee import calibration, foresee, service_or_replace
from ledger.figures.foresee_shapes import Calibration, JobForecast, ServiceOrReplace
from ledger.figures.labour import BookLabour, labour_of
from ledger.figures.labour_shapes import LabourBy, LabourJob, LabourRow
from ledger.figures.margin import BookMargin, margin_of
from ledger.figures.margin_shapes import JobMargin

Days = tuple[date | None, date | None]
Key = tuple[str, int, date, bool, Days, Asker]
"""What figures of some days depend on: the book, its head, the day looked at, if that is now, and
who asks."""


def _key(book: Book, day: date | None, days: Days = (None, None)) -> Key:
    wanted = data.today(book) if day is None else day
    asker = data.asker().of_role
    return str(book.path), book.head.commit, wanted, day is None, days, asker


def _instant(book: Book, key: Key) -> datetime | None:
    return None if key[3] else data.end_of(book, key[2])


def labour(book: Book, day: date | None, days: Days) -> BookLabour:
    """Give minutes against quote of jobs closed in some days, as at the end of a day."""
    return _labour(book, _key(book, day, days))


@st.cache_resource(show_spinner=False, max_entries=6)
def _labour(_book: Book, key: Key) -> BookLabour:
    since, until = key[4]
    return labour_of(_book, since, until, _instant(_book, key), asker=key[5])


def rows(book: Book, day: date | None, days: Days, by: LabourBy) -> tuple[LabourRow, ...]:
    """Give minutes against quote by one thing."""
    return _rows(labour(book, day, days), _key(book, day, days), by)


@st.cache_resource(show_spinner=False, max_entries=24)
def _rows(_found: BookLabour, key: Key, by: LabourBy) -> tuple[LabourRow, ...]:
    return _found.by(by)


def labour_jobs(
    book: Book, day: date | None, days: Days, by: LabourBy, row: str | None
) -> tuple[LabourJob, ...]:
    """Give the jobs behind a row, furthest over the quote first."""
    return _labour_jobs(labour(book, day, days), _key(book, day, days), by, row)


@st.cache_resource(show_spinner=False, max_entries=24)
def _labour_jobs(
    _found: BookLabour, key: Key, by: LabourBy, row: str | None
) -> tuple[LabourJob, ...]:
    return _found.jobs(by, row)


def margin(book: Book, day: date | None, days: Days) -> BookMargin:
    """Give what jobs closed in some days earned, as at the end of a day."""
    return _margin(book, _key(book, day, days))


@st.cache_resource(show_spinner=False, max_entries=6)
def _margin(_book: Book, key: Key) -> BookMargin:
    since, until = key[4]
    return margin_of(_book, since, until, _instant(_book, key), asker=key[5])


def margin_jobs(
    book: Book, day: date | None, days: Days, tier: str | None
) -> tuple[JobMargin, ...]:
    """Give the jobs of a tier, least margin first."""
    return _margin_jobs(margin(book, day, days), _key(book, day, days), tier)


@st.cache_resource(show_spinner=False, max_entries=24)
def _margin_jobs(_found: BookMargin, key: Key, tier: str | None) -> tuple[JobMargin, ...]:
    return _found.jobs(tier)


@dataclass(frozen=True)
class Plan:
    """A job that is planned, as it can be kept."""

    tier: str | None = None
    tasks: tuple[tuple[str, float | None], ...] = ()
    """Tasks with their minutes; None for the usual ones."""
    bike: str | None = None
    bike_kind: str | None = None
    is_old: bool | None = None
    years: float | None = None
    risk: float = 0.2
    price_minor: int | None = None

    @property
    def is_empty(self) -> bool:
        """Whether nothing is planned."""
        return self.tier is None and not self.tasks


def forecast(book: Book, day: date | None, plan: Plan) -> JobForecast:
    """Give the minutes a planned job will take."""
    return _forecast(book, _key(book, day), plan)


@st.cache_resource(show_spinner=False, max_entries=100)
def _forecast(_book: Book, key: Key, plan: Plan) -> JobForecast:
    tasks: Mapping[str, float | None] = dict(plan.tasks)
    return foresee(
        _book, tier=plan.tier, tasks=tasks or None, bike=plan.bike, bike_kind=plan.bike_kind,
        is_old=plan.is_old, years=plan.years, risk=plan.risk, price_minor=plan.price_minor,
        as_at=_instant(_book, key), asker=key[5],
    )  # fmt: skip


def held_so_far(book: Book, day: date | None) -> Calibration:
    """Give how such forecasts would have fared."""
    return _held_so_far(book, _key(book, day))


@st.cache_resource(show_spinner=False, max_entries=3)
def _held_so_far(_book: Book, key: Key) -> Calibration:
    return calibration(_book, _instant(_book, key), asker=key[5])


def replacing(book: Book, day: date | None, tag: str, position: str) -> ServiceOrReplace:
    """Give servicing what is fitted at a position against replacing it."""
    return _replacing(book, _key(book, day), tag, position)


@st.cache_resource(show_spinner=False, max_entries=60)
def _replacing(_book: Book, key: Key, tag: str, position: str) -> ServiceOrReplace:
    return service_or_replace(_book, tag, position, _instant(_book, key), asker=key[5])
