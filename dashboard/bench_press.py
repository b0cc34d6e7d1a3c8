"""What a press at the bench records, and what is said of it: in the book, or refused and why."""

from __future__ import annotations

import errno
import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import streamlit as st

from dashboard import time_clock
from dashboard.time_clock import WRITING, Said
from ledger.bench.drafts import Draft, Hand
from ledger.book import Book
from ledger.errors import ClockJumped, LedgerError
from ledger.photos import add_photo, picture_of

HEARD = "bench_heard"
IDS = "bench_ids"
LOG = logging.getLogger(__name__)
FULL = (
    "The disk is full, so nothing was recorded. What you typed stays here: make room on the "
    "computer the book stands on, then press again."
)
NOT_WRITTEN = (
    "The book could not be written, so nothing was recorded. What you typed stays here; press "
    "again. If it stays so, look whether the disk the book stands on is there."
)


@dataclass(frozen=True)
class Heard:
    """What came of the last press, and what it would take to undo it."""

    said: Said
    events: tuple[str, ...] = ()
    """The events that were recorded, which Undo strikes."""
    form: str = ""
    """The form it belongs to, where a refusal is shown beside it."""
    again: Callable[[], None] | None = None
    """Presses again with the computer's clock taken to be right."""


def recorded(
    book: Book,
    drafts: Sequence[Draft],
    *,
    is_clock_right: bool = False,
    only_if: Callable[[], None] | None = None,
) -> Said:
    """Record drafts in one commit, or say in one line why nothing was recorded."""
    try:
        return time_clock.recorded(
            book, lambda: drafts, "In the book", is_clock_right=is_clock_right, only_if=only_if
        )
    except OSError as error:
        return not_written(error)


def photo_added(
    book: Book,
    hand: Hand,
    content: bytes,
    event: str,
    *,
    position: str | None = None,
    is_before: bool | None = None,
    is_clock_right: bool = False,
) -> Said:
    """Keep a photo and record it, or say in one line why it is not kept."""
    try:
        picture = picture_of(content)  # not while others wait to write
        with WRITING:
            add_photo(
                book,
                hand.bike,
                hand.job,
                hand.actor,
                picture,
                event_id=event,
                position=position,
                is_before=is_before,
                confirm_clock=is_clock_right,
            )
    except ClockJumped:
        return Said(time_clock.JUMPED, False, lambda: Said("", False))
    except LedgerError as error:
        return Said(" ".join(str(error).split()), False)
    except OSError as error:
        return not_written(error)
    return Said("In the book.", True)


def not_written(error: OSError) -> Said:
    """Give why the disk took nothing."""
    LOG.error("The book could not be written: %s", error)
    return Said(FULL if error.errno == errno.ENOSPC else NOT_WRITTEN, False)


def heard() -> Heard | None:
    """Give what came of the last press of this session."""
    found: Heard | None = st.session_state.get(HEARD)
    return found


def hear(said: Heard | None) -> None:
    """Keep what came of a press, to be said when the page is drawn."""
    st.session_state[HEARD] = said


def event_id(name: str, kept: str | None, make: Callable[[], str]) -> str:
    """Give the id of what a form or press will record: the same until it is recorded.

    `kept` is the id a form had before the server was restarted.
    """
    ids: dict[str, str] = st.session_state.setdefault(IDS, {})
    if name not in ids:
        ids[name] = kept or make()
    return ids[name]


def done_with(name: str) -> None:
    """Forget the id of a form that was recorded or thrown away: the next press is a new event."""
    ids: dict[str, str] = st.session_state.setdefault(IDS, {})
    for key in [key for key in ids if key == name or key.startswith(f"{name}/")]:
        del ids[key]


def ids_of(drafts: Sequence[dict[str, Any]]) -> tuple[str, ...]:
    """Give the ids of drafts, for undoing them."""
    return tuple(str(draft["id"]) for draft in drafts if draft.get("id"))
