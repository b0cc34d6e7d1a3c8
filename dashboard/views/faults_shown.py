"""What the views of the page of faults share: the faults as at a day, and what was asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import streamlit as st

from dashboard import charts, data, wear_panels, worked_out
from dashboard import fault_panels as panels
from dashboard.fault_address import Asked
from dashboard.markup import text
from dashboard.words import Words
from ledger.book import Book
from ledger.figures.fault_words import FaultWords
from ledger.figures.faults import BookFaults


@dataclass(frozen=True)
class Shown:
    """One book's faults as at a day, what was asked for, and the words of it all."""

    book: Book
    found: BookFaults
    asked: Asked
    words: Words

    @property
    def say(self) -> FaultWords:
        """How faults are worded."""
        return self.found.words

    @property
    def day(self) -> date:
        """The day the page is as at."""
        return self.asked.day or data.today(self.book)

    def drawn(self, key: str, build: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        """Give a chart of this page, built once for a window and a key."""
        window = self.asked.window
        of = f"{window.days} {window.distance_km}" if window else "own"
        return worked_out.drawn(self.book, self.day, f"faults {of} {key}", build)

    def go(self, **other: Any) -> None:
        """Move the address to something else asked for; the page follows it."""
        st.query_params.from_dict(self.asked.params(**other))

    def frame(self, first: datetime) -> charts.Frame:
        """Give the frame of a chart over time, from an instant to the day looked at."""
        last = max(data.end_of(self.book, self.day), first)
        return charts.Frame((first, last), self.words.formats.zone, self.words.formats.locale)


def shown_of(book: Book, asked: Asked) -> Shown:
    """Give the faults asked for, matched once; what stands meanwhile says so."""
    waiting = st.empty()
    waiting.html(panels.waiting())
    found = worked_out.faults(book, asked.day, asked.window)
    waiting.empty()
    return Shown(book, found, asked, data.words_of(book))


def heading(words: str, note: str = "") -> None:
    """Draw the title of a section, with what to know of it."""
    said = f'<p class="lk-note">{text(note)}</p>' if note else ""
    st.html(f'<h2 class="lk-title">{text(words)}</h2>{said}')


def choice(shown: Shown, name: str, label: str, options: dict[str, str]) -> None:
    """Offer one of some options, kept in the address."""
    key = f"sure_{name}"
    st.session_state[key] = getattr(shown.asked, name)
    st.segmented_control(
        label,
        list(options),
        key=key,
        required=True,
        format_func=lambda option: options.get(option, option),
        on_change=lambda: shown.go(**{name: st.session_state[key]}),
    )


def card(key: str, title: str, said: str, chart: dict[str, Any], below: str = "") -> None:
    """Draw a chart under the finding it shows, with a line of what it is, and HTML below it."""
    with st.container(key=f"reading-{key}"):
        st.html(wear_panels.card_head(title, said))
        st.vega_lite_chart(chart, theme=None, width="stretch", key=f"sure-{key}")
        if below:
            st.html(below)
