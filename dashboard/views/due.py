"""Due: whom to call about which parts, by week, and what to write to them."""

from __future__ import annotations

from datetime import date

import streamlit as st

from dashboard import data, due_panels, filters, stands, wear_panels, worked_out
from dashboard.due_panels import SORTS, Asked
from dashboard.words import Words
from ledger.book import Book
from ledger.figures.calls import DueList
from ledger.figures.due import WITHIN_DAYS
from ledger.figures.due_words import DueWords

FIRST_LISTED, MORE_LISTED = 25, 100
LONGEST_DAYS = 365


def page() -> None:
    """Draw the call list the address asks for."""
    book = data.open_book()
    asked, day = _asked(book)
    waiting = st.empty()
    waiting.html(wear_panels.waiting("Due"))
    found = worked_out.due(book, day, asked.within_days, is_every=asked.is_every)
    found = due_panels.narrowed(found, asked.bike)
    waiting.empty()
    words = data.words_of(book)
    title, facts = due_panels.counted(found, words.formats.number)
    head = wear_panels.facts(title, facts)
    st.html(
        wear_panels.as_at_note(day, words)
        + ("" if day else stands.note(book, words))
        + head
        + due_panels.only(asked)
        + due_panels.note(asked)
        + due_panels.controls(asked)
        + due_panels.unseen(found, DueWords(book.settings))
    )
    if found.calls:
        _calls(book, found, asked, words)
    elif not found.bench:
        st.html(_nothing(asked))
    say = DueWords(book.settings)
    last = due_panels.bench(found.bench, asked, words, say) + due_panels.caution(found)
    if last:
        st.html(last)


def _asked(book: Book) -> tuple[Asked, date | None]:
    typed = st.query_params
    day = filters.asked_day(typed.get("as_at"))
    day = None if day is None or day >= data.today(book) else day
    days = filters.asked_number(typed.get("within"), WITHIN_DAYS, LONGEST_DAYS)
    sort = typed.get("sort", "date")
    as_at = "" if day is None else day.isoformat()
    is_every = typed.get("all") == "1"
    bike = typed.get("bike", "").strip().upper()
    return Asked(days, sort if sort in SORTS else "date", as_at, is_every, bike), day


def _calls(book: Book, found: DueList, asked: Asked, words: Words) -> None:
    key = f"called-{asked.sort}-{asked.within_days}-{asked.is_every}"
    most = st.session_state.get(key, FIRST_LISTED)
    calls = due_panels.sorted_calls(found.calls, asked.sort)
    with st.container(key="calls"):
        say = DueWords(book.settings)
        st.html(due_panels.call_list(calls[:most], asked, words, say))
        if len(calls) > most:
            _more(key, most, len(calls), words)


def _more(key: str, most: int, count: int, words: Words) -> None:
    number = words.formats.number
    said = f"{number(most)} of {number(count)} calls are shown; what is shown is what is printed."
    st.html(f'<p class="lk-note lk-screen">{said}</p>')
    with st.container(key="more", horizontal=True):
        more = min(MORE_LISTED, count - most)
        st.button(f"Show {more} more", on_click=st.session_state.update, kwargs={key: most + more})
        st.button(f"Show all {number(count)}", on_click=_show_all, args=(key, count))


def _show_all(key: str, count: int) -> None:
    st.session_state[key] = count


def _nothing(asked: Asked) -> str:
    return (
        f'<p class="lk-note">Nothing that was measured is past its limit or reaches it within '
        f"{asked.within_days} days, as far as readings tell. What nobody measured is not in it.</p>"
    )
