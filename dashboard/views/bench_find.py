"""Finding a bike: by its tag or by anything anybody still knows of it."""

from __future__ import annotations

import streamlit as st

from dashboard import bench_html, data
from dashboard.bench_address import FIND, bench_asked
from dashboard.words import Words
from ledger.bench.finding import look_for
from ledger.bench.shapes import FoundBike

MOST = 20


@st.fragment
def find_view(actor: str) -> None:
    """Draw one field, and the bikes its words may mean: those on the bench first."""
    book, words = data.open_book(), data.words_of(data.open_book())
    asked = bench_asked(st.query_params)
    st.session_state.setdefault("bench_find", asked.find)
    with st.container(key="bench"):
        st.html(bench_html.item("Bench", "Which bike is on the stand?", "find"))
        with st.container(key="bench_search"):
            st.text_input("Tag, make, model, what it looks like, or whose it is", key="bench_find",
                          on_change=_typed, live=True, placeholder="Any letters of it")  # fmt: skip
        found = look_for(book, st.session_state["bench_find"] or "", MOST)
        found.sort(key=lambda one: one.open_job is None)
        rows = "".join(_row(one, words) for one in found)
        none = bench_html.note(
            "No bike has these letters. Try fewer of them, or enter it as a new bike."
        )
        st.html(f'<ul class="lk-found">{rows}</ul>' if rows else none)


def _typed() -> None:
    typed = st.session_state["bench_find"] or ""
    if typed:
        st.query_params[FIND] = typed
    else:
        st.query_params.pop(FIND, None)


def _row(one: FoundBike, words: Words) -> str:
    name = (
        data.name_of(one.make, one.model)
        if one.make or one.model
        else one.description or "Not named"
    )
    small = [one.rider_name or "rider not named", one.description or "" if one.make else "",
             f"last seen {words.formats.day(one.last_seen_at)}"]  # fmt: skip
    return bench_html.found_bike(one, name, ", ".join(filter(None, small)))
