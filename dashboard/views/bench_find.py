"""Finding a bike: by its tag or by anything anybody still knows of it; entering a new one."""

from __future__ import annotations

import streamlit as st

from dashboard import bench_html, bench_words, data
from dashboard.bench_address import FIND, FORM, GONE, ITEM, JOB, NEW, STEP, TAG, bench_asked
from dashboard.bench_place import SHORT
from dashboard.bench_stand import unsent_of
from dashboard.filters import is_tag
from dashboard.views.bench_gone import gone_view
from dashboard.views.bench_new import new_view
from dashboard.views.bench_pieces import press_button, show
from dashboard.words import Words
from ledger.bench.finding import look_for, tag_of
from ledger.bench.shapes import FoundBike
from ledger.book import Book
from ledger.errors import LedgerError
from ledger.unsent import HalfTyped

MOST, MOST_LEFT = 20, 4


@st.fragment
def find_view(actor: str) -> None:
    """Draw one field, and the bikes its words may mean: those on the bench first."""
    with st.container(key="bench"):
        try:
            book, asked = data.open_book(), bench_asked(st.query_params)
            if asked.tag and asked.tag in data.tags(book):
                st.rerun()  # a bike was chosen: the whole page is about it now
            tag = asked.tag if is_tag(asked.tag) else ""
            if asked.form == NEW:
                new_view(book, actor, tag)
            elif asked.form == GONE:
                gone_view(book, actor, tag)
            else:
                _find(book, actor, asked.find, tag)
        except LedgerError as error:
            show(bench_html.refused(" ".join(str(error).split())))


def _find(book: Book, actor: str, find: str, new_tag: str) -> None:
    words = data.words_of(book)
    st.session_state.setdefault("bench_find", find)
    if new_tag:
        _new_tag(new_tag)
    show(bench_html.item("Bench", "Which bike is on the stand?", "find"))
    with st.container(key="bench_search"):
        st.text_input(
            "Its tag, or letters of make, model, looks or rider",
            key="bench_find",
            on_change=_typed,
            live=True,
            placeholder="Any letters of it",
        )
    typed = st.session_state["bench_find"] or ""
    found = look_for(book, typed, MOST)
    if not new_tag:
        with st.container(key="bench_ways_out", horizontal=True):
            press_button("New bike", "find-new", _form, NEW)
            press_button("Its tag is gone", "find-gone", _form, GONE)
    with st.container(key="bench_found_bikes"):
        for one in found:
            row(one, words)
    read = tag_of(typed)
    if not found and read and not new_tag:
        show(bench_html.note(f"No bike has the tag {bench_html.printed(read)}."))
        _new_tag(read)
    elif not found:
        show(bench_html.note("No bike has these letters. Try fewer of them, or enter it as new."))
    _left_typed(book, actor, words)


def _new_tag(tag: str) -> None:
    """Offer what a tag that no bike has yet can be for."""
    with st.container(key="bench_new_tag", horizontal=True):
        press_button("Enter a bike under this tag", "tag-new", _form, NEW, tag)
        press_button("This is the new tag of another bike", "tag-gone", _form, GONE, tag)


def _typed() -> None:
    typed = st.session_state["bench_find"] or ""
    if tag_of(typed) in data.tags(data.open_book()):
        choose(tag_of(typed) or "")
    elif typed:
        st.query_params[FIND] = typed
    else:
        st.query_params.pop(FIND, None)


def _form(form: str, tag: str = "") -> None:
    st.query_params[FORM] = form
    if tag:
        st.query_params.pop(FIND, None)
        st.query_params[TAG] = tag


def choose(tag: str, **other: str) -> None:
    """Put a bike on the stand: the address says which."""
    for name in (FIND, FORM, STEP, ITEM, JOB):
        st.query_params.pop(name, None)
    st.query_params[TAG] = tag
    for name, value in other.items():
        st.query_params[name] = value


def row(one: FoundBike, words: Words) -> None:
    """Draw one bike as a row to press."""
    named = data.name_of(one.make, one.model) if one.make or one.model else one.description
    looks = one.description if one.make or one.model else ""
    seen = f"last seen {words.formats.day(one.last_seen_at)}"
    small = ", ".join(filter(None, (one.rider_name or "rider not named", looks, seen)))
    st.button(
        bench_html.bike_label(one, named or "Make not known", small),
        key=f"found-{one.tag}",
        on_click=choose,
        args=(one.tag,),
        width="stretch",
    )


# -- what was left half typed ------------------------------------------------------------------


def _left_typed(book: Book, actor: str, words: Words) -> None:
    """Draw what this mechanic typed and did not record, with the way to it."""
    left = [one for one in unsent_of(book).of(actor) if one.key.bike and "id" in one.values]
    for place, one in enumerate(left[:MOST_LEFT]):
        step, _, item = one.key.step.partition(" ")
        typed = {name: said for name, said in one.values.items() if name != "id" and said}
        what = f"{one.key.bike}, {SHORT.get(step, step)}: {bench_words.typed_line(typed)}"
        with st.container(key=f"left-{place}", horizontal=True, vertical_alignment="center"):
            show(bench_html.wild(f"Not recorded yet: {what}, {words.formats.moment(one.typed_at)}"))
            press_button("Go there", f"there-{place}", _go_there, one, step, item)
            press_button("Throw away", f"thrown-{place}", _thrown, book, one)


def _go_there(one: HalfTyped, step: str, item: str) -> None:
    where = {STEP: step} if step in SHORT else {}
    choose(one.key.bike, **where, **({ITEM: item} if where and item else {}))


def _thrown(book: Book, one: HalfTyped) -> None:
    unsent_of(book).drop(one.key)
