"""What the pages of a great book are read from, made ahead when the server starts.

Of a book that is new to this machine nothing is kept yet, and making it takes a minute a million
events. That begins with the server, in the order in which pages are opened; who comes meanwhile is
told what is being made, and how far that is.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from threading import Thread
from typing import TYPE_CHECKING

import streamlit as st

from dashboard import markup

if TYPE_CHECKING:
    from ledger.book import Book

Telling = Callable[[], AbstractContextManager[object]]
LOG = logging.getLogger(__name__)
LOOKED_AGAIN_SECONDS = 0.3
NAMES = ("the list of bikes", "what is on the bench and what waits", "time and money", "faults",
         "how everything wears")  # fmt: skip
NEEDED = {"": 3, "home": 3, "bikes": 1, "bench": 2, "due": 2, "time": 3, "earnings": 3,
          "quote": 3, "faults": 4}  # fmt: skip
"""By page: how many of them it waits for. Wear and chains say themselves what they do."""


@dataclass
class Making:
    """How far the server has come."""

    done: int = 0
    """How many of NAMES are there."""
    is_made: bool = False
    """Whether the next of them is being made; else it is there, or was not looked at yet."""

    @contextmanager
    def telling(self) -> Iterator[None]:
        """Tell that something is made, within."""
        self.is_made = True
        try:
            yield
        finally:
            self.is_made = False

    def waits(self, page: str) -> bool:
        """Say whether a page would wait for what is being made."""
        return self.is_made and self.done < NEEDED.get(page, 0)

    @property
    def said(self) -> str:
        """What is being made, and how far that is."""
        name = NAMES[min(self.done, len(NAMES) - 1)]
        return (
            f"Making what this page is read from, {self.done + 1} of {len(NAMES)}: {name}. "
            "A great book needs this once; it is kept beside the book."
        )


_making = Making()


def begin() -> Thread:
    """Begin to make what is not kept yet of the server's book."""
    thread = Thread(target=_made, name="making ahead", daemon=True)
    thread.start()
    return thread


def _made() -> None:
    try:
        # loaded here: the server answers before all of it is there
        from dashboard import data

        book = data.open_book()
        make(book, _making)
        book.pack()
    except Exception:
        # whoever opens a page is told what is wrong with the book
        LOG.debug("Nothing could be made ahead", exc_info=True)


def make(book: Book, making: Making) -> None:
    """Make what is not kept yet of a book, telling how far that is."""
    from ledger.kept import FEWEST_EVENTS

    if book.head.size < FEWEST_EVENTS:
        return
    for step in (_bikes, _bench, _jobs, _faults, _wear):
        step(book, making.telling)
        making.done += 1


def wait(page: str, making: Making = _making) -> None:
    """Hold a page while what it is read from is being made, saying so."""
    if not making.waits(page):
        return
    place = st.empty()
    while making.waits(page):
        said = f'<p class="lk-note" role="status">{markup.text(making.said)}</p>'
        head = '<header class="lk-identity"><h1>Getting this book ready</h1></header>'
        place.html(f'<div class="lk-wait">{head}{said}</div>')
        time.sleep(LOOKED_AGAIN_SECONDS)
    place.empty()


def _bikes(book: Book, telling: Telling) -> None:
    from ledger.figures.home_keeps import BIKES
    from ledger.kept import keep_ready

    keep_ready(book, (BIKES,), telling)


def _bench(book: Book, telling: Telling) -> None:
    from ledger.bench.finding import OF_FINDING
    from ledger.clocks import OF_CLOCKS
    from ledger.figures.ages import FITTED_AGES
    from ledger.figures.home_keeps import OWN_WORK, waiting_keep
    from ledger.figures.kept_faults import JUDGED
    from ledger.kept import keep_ready

    keeps = (*OF_CLOCKS, *OF_FINDING, OWN_WORK, waiting_keep(book), JUDGED, FITTED_AGES)
    keep_ready(book, keeps, telling)


def _jobs(book: Book, telling: Telling) -> None:
    from ledger.figures.kept_jobs import jobs_ready

    jobs_ready(book, telling)


def _faults(book: Book, telling: Telling) -> None:
    from ledger.figures.kept_faults import OF_FAULTS, OF_HOW_SURE
    from ledger.kept import keep_ready

    keep_ready(book, (*OF_FAULTS, *OF_HOW_SURE), telling)


def _wear(book: Book, telling: Telling) -> None:
    from dashboard import stands
    from ledger.figures.ahead import BookTables
    from ledger.figures.chain_keep import book_chains
    from ledger.figures.due import due_ready
    from ledger.figures.worn import worn_of

    if any(stands.shown(book, stands.commit_shown(book, sort=sort), sort) for sort in stands.SORTS):
        return
    with telling():
        ahead = BookTables(book)
        worn_of(book, ahead)
        book_chains(book, ahead)
        due_ready(book)
