"""Home: find a bike, and the bikes seen last."""

from __future__ import annotations

import streamlit as st

from dashboard import data, markup, panels

FIND = "find"
MOST = 40


def page() -> None:
    """Draw what was asked for, or the bikes seen last where nothing was."""
    book = data.open_book()
    asked = st.query_params.get(FIND, "").strip()
    if not data.tags(book):
        _empty()
        return
    found = data.found(book, asked)
    if not found:
        hint = "Try fewer letters, or the first letters of the tag."
        st.html(markup.blank(f"No bike matches {asked}", hint))
        return
    words = data.words_of(book)
    head = _title(asked, len(found)) if asked else panels.book_head(data.summary(book), words)
    # One element: a heading of what was found never stands over the list of before.
    st.html(head + panels.bike_list(found[:MOST], words))


def _title(asked: str, count: int) -> str:
    more = f", the {MOST} seen last shown" if count > MOST else ""
    noun = "bike matches" if count == 1 else "bikes match"
    number = f"{count} or more" if count >= data.MOST_FOUND else str(count)
    return f"<h1>{number} {noun} {markup.text(asked)}{more}</h1>"


def _empty() -> None:
    st.html(
        '<div class="lk-blank"><h1>The book is empty</h1>'
        "<p>No bike has been entered yet. Record the first one at the bench:</p>"
        "<p><code>lockring record --follow</code></p>"
        "<p>or bring in the service log you already have:</p>"
        "<p><code>lockring import FILE</code></p></div>"
    )
