"""A page left open learns of what is recorded meanwhile: within a second, from the book's listing.

The page carries the commit it was drawn at; its script asks for the newest one. Nothing of the
book is read for that but the names of its files, and those only where the folder changed.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import streamlit as st
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

if TYPE_CHECKING:
    from ledger.book import Book

PATH = "/newest"
BODY = Path(__file__).with_name("newest.js").read_text(encoding="utf-8")
"""Fixed text, listed by its hash in the policy of the pages, as `bench_script.BODY` is."""
SCRIPT = f"<script>{BODY}</script>"
FOLLOWING = frozenset({"", "home"})
"""Pages that are drawn anew by themselves: a list that hangs on the wall. Others offer it."""
OWN_WAY = frozenset({"bench"})
"""Pages that hold every press against what was recorded meanwhile, and need not be told."""


def mark(book: Book, page: str) -> None:
    """Put on a page which commit it is drawn at, and what looks for newer ones."""
    if page in OWN_WAY:
        return
    drawn = _drawn(book, is_following=page in FOLLOWING)
    st.html(drawn + SCRIPT, unsafe_allow_javascript=True)


def mark_part(book: Book) -> None:
    """Say of a part of a page, drawn anew by itself, which commit it is drawn at."""
    st.html(_drawn(book, is_following=False))


def _drawn(book: Book, *, is_following: bool) -> str:
    follows = "true" if is_following else "false"
    return (
        f'<i hidden class="lk-drawn" data-commit="{book.head.commit}" data-follows="{follows}"></i>'
    )


def route() -> Route:
    """Give the route that tells the newest commit's number."""
    return Route(PATH, _answer, methods=["GET"])


async def _answer(request: Request) -> Response:
    return await run_in_threadpool(_newest)


def _newest() -> Response:
    # loaded here: the server answers before all of it is there
    from dashboard import data
    from ledger.errors import LedgerError

    try:
        commit = data.open_book().head.commit
    except LedgerError:
        return JSONResponse({}, 503)
    return JSONResponse({"commit": commit}, headers={"Cache-Control": "no-store"})
