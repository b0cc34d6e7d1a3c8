"""What is loaded as the server starts, so that no first page and no first press waits for it."""

from __future__ import annotations

import gc
import importlib
import logging
import pkgutil
from threading import Event, Lock, Thread
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ledger.book import Book

LOG = logging.getLogger(__name__)
FIRST_PAGE_SECONDS = 4.0
"""How long warming waits for a first page: one opened as the server starts goes before it."""
first_drawn = Event()
"""Set once any page has been drawn."""
_resting = Lock()
_is_at_rest = False


def begin() -> Thread:
    """Warm what the bench asks for, beside whatever the server answers meanwhile."""
    thread = Thread(target=_warmed, name="warming the bench", daemon=True)
    thread.start()
    return thread


def load() -> None:
    """Load every page's code: a server that answers draws its first page as fast as later ones."""
    from dashboard import views

    for page in pkgutil.iter_modules(views.__path__):
        importlib.import_module(f"{views.__name__}.{page.name}")


def _warmed() -> None:
    try:
        from dashboard import data

        first_drawn.wait(FIRST_PAGE_SECONDS)
        warm(data.open_book())
        at_rest(again=True)
    except Exception:
        # whoever opens the page is told what is wrong with the book; here nobody is
        LOG.debug("The bench could not be made ready", exc_info=True)


def warm(book: Book) -> None:
    """Ask what a bench asks first, for the sake of what is remembered of it; writes nothing."""
    from dashboard import data
    from ledger import clocks
    from ledger.asking import OWNER
    from ledger.bench.finding import look_for
    from ledger.bench.reading import bench_of, came_back

    tags, mechanics = data.tags(book), sorted(book.mechanics)
    if not tags or not mechanics:
        return
    open_jobs = clocks.open_jobs(book)
    tag = open_jobs[0].bike if open_jobs else tags[0]
    found = bench_of(book, tag, mechanics[0], asker=OWNER)
    _look_ahead(book, tag, mechanics[0])
    look_for(book, "the")
    clocks.running(book, asker=OWNER)
    came_back(book, found)


def _look_ahead(book: Book, tag: str, mechanic: str) -> None:
    """Have the rules look at an entry that is not made: they find what they need of other bikes."""
    from dashboard.time_clock import WRITING
    from ledger.bench import drafts
    from ledger.bench.walked import short_code

    draft = drafts.job_opened(mechanic, tag, short_code("J"), drafts.new_id())
    with WRITING:
        book.check([draft])


def at_rest(*, again: bool = False) -> None:
    """Take what this server has loaded by now out of the collecting of garbage, once.

    The framework collects all of it after every run; that took longer than drawing the page, and
    a press that came meanwhile waited for it.
    """
    global _is_at_rest
    with _resting:
        if _is_at_rest and not again:
            return
        gc.collect()
        gc.freeze()
        _is_at_rest = True
