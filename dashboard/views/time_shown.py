"""What the views of time and earnings share: the period, cards, tables with their files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any, Generic, TypeVar

import streamlit as st

from dashboard import data, downloads, wear_panels, worked_out
from dashboard.due_panels import choices
from dashboard.labour_address import Address, OfPeriod, periods
from dashboard.labour_say import LabourSay
from dashboard.labour_table import Table
from dashboard.markup import as_words, text
from dashboard.words import Words
from ledger.book import Book
from ledger.figures.labour_shapes import Period

Of = TypeVar("Of", bound=Address)
FIRST_LISTED, MORE_LISTED = 12, 40


@dataclass(frozen=True)
class Shown(Generic[Of]):
    """One book, what an address asks of it, and the words of it all."""

    book: Book
    asked: Of
    words: Words
    say: LabourSay

    @property
    def day(self) -> date:
        """The day the page is as at."""
        return self.asked.day or data.today(self.book)

    def drawn(self, key: str, build: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        """Give a chart of this page, built once for what is asked for and a key."""
        return worked_out.drawn(self.book, self.day, f"{self.asked} {key}", build)

    def go(self, **other: Any) -> None:
        """Move the address to something else asked for; the page follows it.

        What else stands in it by now stays: two things may be changed before the page follows.
        """
        wanted = self.asked.params(**other)
        kept = {name: value for name, value in st.query_params.items() if name not in other}
        new = {name: wanted[name] for name in other if name in wanted}
        st.query_params.from_dict(kept | new)


def shown_of(book: Book, asked: Of) -> Shown[Of]:
    """Give a book with what is asked of it."""
    return Shown(book, asked, data.words_of(book), LabourSay(book.settings, book.vocabulary))


def period_view(shown: Shown[Any], period: Period, first: date) -> None:
    """Offer the days figures are of: usual ones as links, any others by date."""
    asked: OfPeriod = shown.asked
    with st.container(key="period", horizontal=True, vertical_alignment="bottom"):
        st.html(choices("Closed in", periods(asked, data.today(shown.book))))
        with st.container(key="period_days", horizontal=True, width="content"):
            _date(shown, "since", "From", period.since, first)
            _date(shown, "until", "To", period.until, first)


def _date(shown: Shown[Any], name: str, label: str, value: date, first: date) -> None:
    key = f"period_{name}"
    low, high = min(first, value), max(shown.day, value)
    st.session_state[key] = value
    st.date_input(
        label,
        min_value=low,
        max_value=high,
        key=key,
        format=shown.words.formats.picker_pattern(),
        on_change=lambda: _go_to(shown, name, st.session_state[key]),
        width=150,
    )


def _go_to(shown: Shown[Any], name: str, day: date | None) -> None:
    shown.go(**{name: day.isoformat() if day else ""}, row="")


def first_day(shown: Shown[Any]) -> date:
    """Give the first local day anything is recorded of."""
    return min(data.first_day(shown.book), shown.day)


def card(
    key: str, title: str, said: str, chart: dict[str, Any], below: str = "", level: int = 3
) -> None:
    """Draw a chart under the finding it shows, with a line of what it is, and HTML below it."""
    with st.container(key=f"reading-{key}"):
        st.html(wear_panels.card_head(title, said, level=level))
        st.vega_lite_chart(chart, theme=None, width="stretch", key=f"chart-{key}")
        if below:
            st.html(below)


def picking_card(
    shown: Shown[Any], key: str, title: str, said: str, chart: dict[str, Any], picked: str
) -> None:
    """Draw a page's first chart, whose rows are pressed: the address moves to the row."""
    with st.container(key=f"reading-{key}"):
        st.html(wear_panels.card_head(title, said, level=2))
        # a chart of its own for each choice: none is left with a row picked that is not shown
        own = f"pick-{key}-{shown.asked.row}"
        st.vega_lite_chart(
            chart,
            theme=None,
            width="stretch",
            key=own,
            on_select=lambda: _picked(shown, own, picked),
            selection_mode=picked,
        )


def _picked(shown: Shown[Any], key: str, picked: str) -> None:
    found = st.session_state[key].selection.get(picked)
    if found:
        shown.go(row=found[0]["row"])


def table_view(table: Table, caption: str = "") -> None:
    """Draw a table with its two files."""
    st.html(table.html(caption))
    downloads.offer(table)


def folded_table(summary: str, table: Table, note: str = "") -> None:
    """Draw a table with its files, folded under a line; its first rows where it is long."""
    with st.expander(as_words(summary), key=f"fold-{table.name}"):
        if note:
            st.html(f'<p class="lk-note">{text(note)}</p>')
        long_table(table.name, table)


def long_table(key: str, table: Table) -> None:
    """Draw the first rows of a long table, with a button for more; its files hold every row."""
    name = f"most-{key}"
    most = st.session_state.get(name, FIRST_LISTED)
    st.html(table.html(most=most))
    left = len(table.rows) - most
    with st.container(key=f"under-{table.name}", horizontal=True, vertical_alignment="center"):
        if left > 0:
            more = min(MORE_LISTED, left)
            st.button(f"Show {more} more", key=f"more-{table.name}",
                      on_click=st.session_state.update, kwargs={name: most + more})  # fmt: skip
        downloads.offer(table)


def told(body: str) -> None:
    """Draw HTML, where there is any."""
    if body:
        st.html(body)


def note(words: str) -> None:
    """Draw a line of small words."""
    st.html(f'<p class="lk-note">{text(words)}</p>')
