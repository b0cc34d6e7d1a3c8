"""The dashboard's entry point: the frame every page stands in."""

from __future__ import annotations

import logging

import streamlit as st

from dashboard import (
    bench_warm,
    data,
    filters,
    gate,
    gate_page,
    kept_ahead,
    logged,
    markup,
    newest,
    theme,
)
from dashboard.views import (
    bench,
    bike,
    bikes,
    chains,
    due,
    earnings,
    faults,
    home,
    quote,
    time,
    wear,
)
from dashboard.ways import ways
from ledger.asking import NotForRole
from ledger.book import Book
from ledger.errors import LedgerError

BROKEN = "This page could not be drawn"
LOG = logging.getLogger(__name__)


def main() -> None:
    """Draw the frame, and the page asked for in it."""
    logged.keep_words_out()
    st.set_page_config(page_title="Lockring", page_icon=str(theme.ICON), layout="wide")
    st.html(f"<style>{theme.style_sheet()}</style>")
    try:
        book = data.open_book()
        _pages(book)
    except gate.NotSignedIn as error:
        st.html(markup.blank("Sign in again", str(error)))
    except NotForRole as error:
        st.html(markup.blank("Not shown to you", str(error)))
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
    at_bikes = st.Page(bikes.page, title="Bikes", url_path="bikes")
    others = (
        ("Bench", bench), ("Due", due), ("Wear", wear), ("Chains", chains), ("Faults", faults),
        ("Time", time), ("Earnings", earnings), ("Quote", quote),
    )  # fmt: skip
    pages = [at_home, at_bike, at_bikes]
    pages += [st.Page(each.page, title=name, url_path=name.lower()) for name, each in others]
    chosen = st.navigation(pages, position="hidden")
    _masthead(book, chosen.url_path)
    silence = data.silence(book)
    if silence:
        st.html(f'<p class="lk-caution" role="status">{markup.text(silence)}</p>')
    asked = st.session_state.pop("asked", None)
    if asked is not None:
        tag = filters.fold_tag(asked)
        if _is_for_a_tag(book, asked, tag):
            st.switch_page(at_bike, query_params={bike.TAG: tag})
        st.switch_page(at_bikes, query_params={bikes.FIND: asked} if asked else {})
    if chosen == at_home and st.query_params.get(bike.TAG):
        st.switch_page(at_bike, query_params=st.query_params.to_dict())
    if chosen == at_home and st.query_params.get(bikes.FIND):
        st.switch_page(at_bikes, query_params=st.query_params.to_dict())
    kept_ahead.wait(chosen.url_path)
    newest.mark(book, chosen.url_path)
    chosen.run()
    bench_warm.first_drawn.set()


def _is_for_a_tag(book: Book, asked: str, tag: str) -> bool:
    """Say whether a bike's tag was typed: many a model's name of eight letters could be one."""
    is_known = tag in data.tags(book)
    return is_known or (filters.is_tag(asked) and not data.found(book, asked))


def _ask() -> None:
    st.session_state["asked"] = st.session_state["find"].strip()


def _masthead(book: Book, here: str) -> None:
    with st.container(key="masthead", horizontal=True, vertical_alignment="center"):
        st.html(
            f'<a class="lk-mark" href="." target="_self">{markup.shape("mark")}'
            f"<span><b>Lockring</b><small>{markup.text(book.settings.name)}</small></span></a>"
        )
        st.html(ways(here, data.asker()))
        who = gate_page.who_line(gate.person())
        if who:
            st.html(who)
        st.text_input(
            "Find a bike",
            key="find",
            placeholder="Tag, make or model",
            on_change=_ask,
            label_visibility="collapsed",
        )


main()
