"""Bikes: those found by letters or tag, or all of them, the ones seen last first."""

from __future__ import annotations

import streamlit as st

from dashboard import data, markup, panels
from dashboard.data import Found
from dashboard.words import Words

FIND = "find"
MOST = 40


def page() -> None:
    """Draw the bikes the address asks for."""
    book = data.open_book()
    asked = st.query_params.get(FIND, "").strip()
    found = data.found(book, asked)
    if not found:
        st.html(_nothing(asked))
        return
    words = data.words_of(book)
    head = f'<header class="lk-identity"><h1>{_title(asked, found, words)}</h1></header>'
    # One element: a heading of what was found never stands over the list of before.
    st.html(head + panels.bike_list(found[:MOST], words))


def _title(asked: str, found: list[Found], words: Words) -> str:
    number = words.formats.number(len(found))
    count = f"{number} or more" if len(found) >= data.MOST_FOUND else number
    more = f", the {MOST} seen last shown" if len(found) > MOST else ""
    noun = "bike" if len(found) == 1 else "bikes"
    if not asked:
        return f"{count} {noun}{more}"
    return f"{count} {noun} {'matches' if len(found) == 1 else 'match'} {markup.text(asked)}{more}"


def _nothing(asked: str) -> str:
    if not asked:
        return markup.blank("No bike yet", "Enter the first with lockring record --follow.")
    hint = "Try fewer letters, or the first letters of the tag."
    return markup.blank(f"No bike matches {asked}", hint)
