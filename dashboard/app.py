"""The dashboard's entry point: the frame every page stands in."""

from __future__ import annotations

import logging

import streamlit as st

from dashboard import data, filters, markup, theme
from dashboard.views import bike, chains, due, earnings, faults, home, quote, time, wear
from ledger.book import Book
from ledger.errors import LedgerError

# Words, address and path of the pages a click away from everywhere. No string below it: this
# file is the one the server runs, and it would show such a string on the page.
WAYS = (
    ("Bikes", ".", ""),
    ("Wear", "wear", "wear"),
    ("Due", "due", "due"),
    ("Chains", "chains", "chains"),
    ("Faults", "faults", "faults"),
    ("Time", "time", "time"),
    ("Earnings", "earnings", "earnings"),
    ("Quote", "quote", "quote"),
)


BROKEN = "This page could not be drawn"
LOG = logging.getLogger(__name__)


def main() -> None:
    """Draw the frame, and the page asked for in it."""
    st.set_page_config(page_title="Lockring", page_icon=str(theme.ICON), layout="wide")
    st.html(f"<style>{theme.style_sheet()}</style>")
    try:
        book = data.open_book()
        _pages(book)
    except LedgerError as error:
        st.html(markup.blank("The book cannot be read", str(error)))
    except Exception:
        # the server's own notice speaks of what a workshop does not have
        LOG.exception("A page could not be drawn")
        st.html(markup.blank(BROKEN, "Nothing in the book was changed. Load the page again; if it "
                             "stays so, the window Lockring was started in says why."))  # fmt: skip


def _pages(book: Book) -> None:
    at_home = st.Page(home.page, title="Lockring", url_path="home", default=True)
    at_bike = st.Page(bike.page, title="Bike", url_path="bike")
    at_wear = st.Page(wear.page, title="Wear", url_path="wear")
    at_due = st.Page(due.page, title="Due", url_path="due")
    at_chains = st.Page(chains.page, title="Chains", url_path="chains")
    at_faults = st.Page(faults.page, title="Faults", url_path="faults")
    at_time = st.Page(time.page, title="Time", url_path="time")
    at_earnings = st.Page(earnings.page, title="Earnings", url_path="earnings")
    at_quote = st.Page(quote.page, title="Quote", url_path="quote")
    pages = [at_home, at_bike, at_wear, at_due, at_chains, at_faults]
    pages += [at_time, at_earnings, at_quote]
    chosen = st.navigation(pages, position="hidden")
    _masthead(book, chosen.url_path)
    asked = st.session_state.pop("asked", None)
    if asked is not None:
        tag = filters.fold_tag(asked)
        if _is_for_a_tag(book, asked, tag):
            st.switch_page(at_bike, query_params={bike.TAG: tag})
        st.switch_page(at_home, query_params={home.FIND: asked} if asked else {})
    if chosen == at_home and st.query_params.get(bike.TAG):
        st.switch_page(at_bike, query_params=st.query_params.to_dict())
    chosen.run()


def _is_for_a_tag(book: Book, asked: str, tag: str) -> bool:
    """Say whether a bike's tag was typed: many a model's name of eight letters could be one."""
    is_known = tag in data.tags(book)
    return is_known or (filters.is_tag(asked) and not data.found(book, asked))


def _ask() -> None:
    st.session_state["asked"] = st.session_state["find"].strip()


def _ways(here: str) -> str:
    """Give the links to the pages, the one shown marked as such."""
    links = "".join(
        f'<a href="{where}" target="_self"{_mark(path == here)}>{words}</a>'
        for words, where, path in WAYS
    )
    return f'<nav class="lk-ways" aria-label="Pages">{links}</nav>'


def _mark(is_here: bool) -> str:
    return ' aria-current="page"' if is_here else ""


def _masthead(book: Book, here: str) -> None:
    with st.container(key="masthead", horizontal=True, vertical_alignment="center"):
        st.html(
            f'<a class="lk-mark" href="." target="_self">{markup.shape("mark")}'
            f"<span><b>Lockring</b><small>{markup.text(book.settings.name)}</small></span></a>"
        )
        st.html(_ways(here))
        st.text_input(
            "Find a bike",
            key="find",
            placeholder="Tag, make or model",
            on_change=_ask,
            label_visibility="collapsed",
        )


main()
