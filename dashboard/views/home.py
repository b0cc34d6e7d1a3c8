"""Home: today's bench, what needs a decision, who is due this week, the month in three figures."""

from __future__ import annotations

from typing import cast

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard import (
    data,
    home_figures,
    home_panels,
    markup,
    panels,
    stands,
    wear_panels,
    worked_out,
)
from dashboard.home_address import rows_asked
from dashboard.home_words import WAITS, HomeWords
from dashboard.labour_say import LabourSay
from ledger.asking import Asker
from ledger.book import Book
from ledger.figures.due_words import CAUTION, DueWords
from ledger.figures.home_shapes import Name, Sort

WEEK_DAYS = 7
FIRST_JOBS, FIRST_CALLS, FIRST_ROWS, SEEN_LAST = 12, 3, 100, 6
WAITING = '<p class="lk-note lk-wait">Looking over the bench…</p>'
WAITING_DUE = '<p class="lk-note">Working out who is due…</p>'
WAITING_MONTH = '<p class="lk-note lk-wait">Adding up the month…</p>'


def page() -> None:
    """Draw the front, or the rows behind the figure that the address asks for."""
    book = data.open_book()
    if not data.tags(book):
        _empty()
        return
    say = HomeWords(data.words_of(book), LabourSay(book.settings, book.vocabulary))
    asked = rows_asked(st.query_params)
    if asked is None:
        _front(book, say, data.asker())
    elif asked in WAITS:
        _waiting_rows(book, say, cast(Sort, asked), data.asker())
    else:
        _month_rows(book, say, cast(Name, asked))


def _front(book: Book, say: HomeWords, asker: Asker) -> None:
    """Draw what is quickest to know first: who is due takes all readings."""
    top = st.empty()
    top.html(WAITING)
    jobs, count = home_figures.bench(book)
    top.html(home_panels.head(say.title(jobs, count)))
    with st.container(key="home_body"):
        main, side = st.columns([7, 5], gap="large")
    with main:
        st.html(home_panels.bench(jobs[:FIRST_JOBS], count, asker, say))
    with side:
        st.html(home_panels.decisions(home_figures.decisions(book), say))
        due = st.empty()
        due.html(WAITING_DUE)
    month = st.empty()
    month.html(WAITING_MONTH)
    month.html(home_panels.month(home_figures.month(book), say))
    st.html(_seen_last(book))
    _due(book, due)


def _seen_last(book: Book) -> str:
    bikes = panels.bike_list(data.found(book, "")[:SEEN_LAST], data.words_of(book))
    return markup.section("Seen last", bikes + home_panels.onward("bikes", "All bikes"))


def _due(book: Book, where: DeltaGenerator) -> None:
    found = worked_out.due(book, None, WEEK_DAYS)
    shown = home_panels.due(found, FIRST_CALLS, DueWords(book.settings))
    where.html(shown + stands.note(book, data.words_of(book)))


# -- the rows behind a figure -----------------------------------------------------------------


def _waiting_rows(book: Book, say: HomeWords, sort: Sort, asker: Asker) -> None:
    found = home_figures.decisions(book)
    back = wear_panels.path(("Home", "."))
    if sort not in found:
        st.html(back + markup.blank("Not shown to you", "Ask the owner of this book."))
        return
    rows = found[sort]
    title = home_panels.head(say.waits(sort, len(rows)))
    shown = rows[:FIRST_ROWS]
    lines = home_figures.lines(book, tuple(sorted({one.bike for one in shown})))
    caution = f'<p class="lk-caution">{CAUTION}</p>' if sort == "unsafe" and rows else ""
    body = home_panels.waiting_rows(shown, lines, asker, say)
    st.html(back + title + body + _left_out(len(rows), say) + caution)


def _month_rows(book: Book, say: HomeWords, name: Name) -> None:
    span = home_figures.month(book).span
    jobs = home_figures.month_jobs(book, span, name)
    shown = jobs[:FIRST_ROWS]
    lines = home_figures.lines(book, tuple(sorted({one.bike for one in shown})))
    title = home_panels.head(say.month_rows_title(name, len(jobs), span))
    body = home_panels.job_rows(shown, lines, say)
    st.html(wear_panels.path(("Home", ".")) + title + body + _left_out(len(jobs), say))


def _left_out(count: int, say: HomeWords) -> str:
    rest = count - FIRST_ROWS
    return f'<p class="lk-note">{say.say.figure(rest)} more not shown.</p>' if rest > 0 else ""


def _empty() -> None:
    st.html(
        '<div class="lk-blank"><h1>The book is empty</h1>'
        "<p>No bike has been entered yet. Record the first one at the bench:</p>"
        "<p><code>lockring record --follow</code></p>"
        "<p>or bring in the service log you already have:</p>"
        "<p><code>lockring import FILE</code></p></div>"
    )
