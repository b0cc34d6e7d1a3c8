"""Who to call: what is due, on which bikes, whose they are, and how sure that is."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from itertools import chain

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.wear_data import Flags
from ledger.book import Book
from ledger.clocks import OPEN_JOBS as KEPT_JOBS
from ledger.figures.ages import part_ages
from ledger.figures.ahead import OPEN_JOBS, SUMMARIES, BookTables, Question
from ledger.figures.calls import DueList
from ledger.figures.due_calls import Bikes, Calls, Due, Facts, keepers_of
from ledger.figures.due_day import Day, day_found, day_of, is_great
from ledger.figures.due_parts import LIKELY, Asked, aged_parts, worn_parts
from ledger.figures.due_rows import Rows, tabled
from ledger.figures.due_words import DueWords
from ledger.figures.home_keeps import BIKES
from ledger.figures.tags import rows_of
from ledger.figures.wear import BookWear, wear_of
from ledger.kept import Keep, kept
from ledger.settings import BookSettings

__all__ = ["LIKELY", "SEEN_WITHIN_DAYS", "WITHIN_DAYS", "due_list", "due_ready"]

WITHIN_DAYS = 28
SEEN_WITHIN_DAYS = 540
"""A bike not seen for longer may be anywhere: about it nobody is called unless it is asked for."""


def due_list(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    within_days: int = WITHIN_DAYS,
    rider: str | None = None,
    bike: str | None = None,
    limit: int | None = None,
    seen_within_days: int | None = SEEN_WITHIN_DAYS,
    wear: BookWear | None = None,
    ahead: BookTables | None = None,
) -> DueList:
    """Give whom to call about what is due within some days of an instant (None for now).

    A part is due where it is fitted, has a limit, and is past it now with a chance of LIKELY at
    least, was last read past it (and that reading was not left out), or reaches it by the middle
    estimate within the days. `rider` keeps the bikes that somebody of that id rides or keeps,
    `bike` one bike, `limit` the first so many calls; bikes not seen within `seen_within_days`
    (None: however long ago) are counted and not called about. `wear` and `ahead` are the wear as
    at the same instant and the book's tables, where they were asked for before.

    Now, of a great book, is when it was first asked today since its wear was fitted: its list is
    kept for the day (`ledger.figures.due_day`).
    """
    tables = ahead or BookTables(book, as_at, known_seq)
    is_now = as_at is None and known_seq is None
    day = day_found(book, within_days) if is_now and wear is None else None
    if day is None:
        found = wear or wear_of(book, as_at, known_seq, ahead=tables)
        work_out = partial(_day, book, found, known_seq, tables)
        day = day_of(book, found, within_days, work_out) if is_now else work_out(within_days)
    today = book.settings.local(day.as_at).date()
    last_day = today + timedelta(days=within_days)
    due = _asked_about(book, tables, day.rows, last_day, rider, _tags(book, bike, known_seq))
    on_bench = due.on_bench
    away = np.flatnonzero(~on_bench)
    seen_at = due.bikes("last_seen_at")["last_seen_at"]
    is_seen = _seen_lately(book.settings, seen_at, today, seen_within_days)
    seen = away[is_seen[away]]
    calls = Calls.of(due.of_bikes(seen))
    return DueList(
        as_at=day.as_at,
        today=today,
        within_days=within_days,
        calls=calls if limit is None else calls[:limit],
        bench=Bikes(due.of_bikes(np.flatnonzero(on_bench))),
        count_calls=len(calls),
        seen_within_days=seen_within_days,
        count_long_unseen=len(away) - len(seen),
    )


def _asked_about(
    book: Book,
    tables: BookTables,
    rows: Rows,
    last_day: date,
    rider: str | None,
    tags: frozenset[str] | None,
) -> Due:
    """Give what is due by a day on the bikes that are asked about, as it presses."""
    known_seq = tables.asked.known_seq
    names, bike_of = rows.under(book.aliases(known_seq))
    facts = _facts(book, tables)
    facts = replace(facts, bikes=_bikes_asked(facts.bikes, tags, rider))
    facts_of = rows_of(names, facts.bikes["bike"])
    is_asked = facts_of.is_valid().to_numpy(zero_copy_only=False)
    which = rows.due_by(last_day)
    which = rows.pressing(which[is_asked[bike_of[which]]], bike_of)
    return Due(rows, names, facts_of, bike_of, which, facts, DueWords(book.settings).message)


def due_ready(book: Book) -> None:
    """Work out what is due today where that is kept, and is not there yet."""
    if is_great(book):
        due_list(book, limit=0)


def _day(
    book: Book, found: BookWear, known_seq: int | None, tables: BookTables, within_days: int
) -> Day:
    """Work out what is due within some days of an instant, on whatever bike."""
    words = book.vocabulary if known_seq is None else book.vocabulary_known(known_seq)
    asked = Asked(found.as_at, found.today, within_days, words)
    ages = part_ages(book, found.tables.parts, found.as_at, known_seq, ahead=tables)
    return Day(found.as_at, Rows(tabled(chain(worn_parts(found, asked), aged_parts(ages, asked)))))


def _facts(book: Book, tables: BookTables) -> Facts:
    """Give what is known of the book's bikes."""

    def rows(keep: Keep, question: Question) -> pa.Table:
        table = kept(book, keep, tables.asked)
        return tables.answer(question) if table is None else table

    return Facts(
        bikes=rows(BIKES, SUMMARIES),
        jobs=rows(KEPT_JOBS, OPEN_JOBS),
        register={row.rider: row for row in book.riders.all()},
    )


def _tags(book: Book, bike: str | None, known_seq: int | None) -> frozenset[str] | None:
    return None if bike is None else book.aliases(known_seq).get(bike, frozenset({bike}))


def _bikes_asked(bikes: pa.Table, tags: frozenset[str] | None, rider: str | None) -> pa.Table:
    """Give the bikes that are asked about: by tag, and by who rides or keeps them."""
    if tags is not None:
        bikes = bikes.filter(pc.is_in(bikes["bike"], pa.array(sorted(tags), pa.string())))
    if rider is not None:
        is_theirs = pc.or_kleene(
            pc.equal(bikes["rider"], rider), pc.equal(keepers_of(bikes), rider)
        )
        bikes = bikes.filter(pc.fill_null(is_theirs, False))
    return bikes


def _seen_lately(
    settings: BookSettings, seen_at: pa.ChunkedArray, today: date, within_days: int | None
) -> Flags:
    """Say which bikes were seen within some days; all of them for None."""
    if within_days is None:
        return np.ones(len(seen_at), bool)
    begins = datetime.combine(today - timedelta(days=within_days), time.min, settings.zone)
    since = pa.scalar(begins.astimezone(UTC), seen_at.type)
    found: Flags = pc.greater_equal(seen_at, since).to_numpy()
    return found
