"""The bench: find a bike, and record a service on it, one thing at a time."""

from __future__ import annotations

import streamlit as st

from dashboard import bench_html, bench_warm, data, filters, markup
from dashboard.bench_address import WHO, BenchAsked, bench_asked
from dashboard.bench_script import SCRIPT
from dashboard.views.bench_find import find_view
from dashboard.views.bench_walk import walk_view
from ledger.asking import require
from ledger.book import Book
from ledger.errors import LedgerError

WHO_KEY = "bench_who"


def page() -> None:
    """Draw the bike in the address, or what finds one; raises NotForRole."""
    book, asker = data.open_book(), data.asker()
    require(asker, "bench", "The bench, where work is recorded,")
    asked = bench_asked(st.query_params)
    st.html(SCRIPT, unsafe_allow_javascript=True)
    actor = asker.mechanic or _who(book, asked)
    if actor is None:
        return
    if not asked.tag:
        find_view(actor)
    elif asked.tag not in data.tags(book):
        _unknown(book, asked)
        find_view(actor)
    else:
        st.set_page_config(page_title=f"{asked.tag} · Bench")
        _on_the_stand(actor)


def _on_the_stand(actor: str) -> None:
    try:
        walk_view(actor)
        bench_warm.at_rest()
    except LedgerError as error:
        st.html(bench_html.wild(str(error)))
        find_view(actor)


def _unknown(book: Book, asked: BenchAsked) -> None:
    near = filters.nearest_tags(asked.tag, data.tags(book))
    hint = f" Nearly the same: {', '.join(near)}." if near else ""
    st.html(bench_html.wild(f"No bike has the tag {asked.tag}.{hint}"))


# -- who works ---------------------------------------------------------------------------------


def _who(book: Book, asked: BenchAsked) -> str | None:
    """Give who works, where nobody signed in: the only one there is, or whoever was chosen."""
    known = sorted(book.mechanics)
    chosen = asked.who or st.session_state.get(WHO_KEY) or (known[0] if len(known) == 1 else "")
    if chosen in known:
        st.session_state[WHO_KEY] = chosen
        return str(chosen)
    if not known:
        st.html(
            markup.blank(
                "Nobody works here yet",
                "Register a mechanic first: lockring record "
                "mechanic_registered --set mechanic=m1 --actor m1",
            )
        )
        return None
    _ask_who(book, known)
    return None


def _ask_who(book: Book, known: list[str]) -> None:
    with st.container(key="bench"):
        st.html(bench_html.item("Bench", "Who works?", "who"))
        with st.container(key="bench_who_works", horizontal=True):
            for mechanic in known:
                st.button(mechanic, key=f"who-{mechanic}", on_click=_chosen, args=(mechanic,))


def _chosen(mechanic: str) -> None:
    st.session_state[WHO_KEY] = mechanic
    st.query_params[WHO] = mechanic
