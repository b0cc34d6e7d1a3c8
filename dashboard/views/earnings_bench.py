"""The bench: hours sold against open, what is booked ahead, days held, and advice not taken."""

from __future__ import annotations

import streamlit as st

from dashboard import earn_bench_panels as show
from dashboard import earn_charts
from dashboard import earn_words as words
from dashboard.fault_panels import cautions
from dashboard.labour_address import EarnAsked
from dashboard.views.faults_shown import heading
from dashboard.views.time_shown import Shown, card, folded_table, long_table, note, table_view
from ledger.figures.margin import BookMargin


def bench_view(shown: Shown[EarnAsked], found: BookMargin) -> None:
    """Draw the bench's weeks, its holds, and advice that came back dearer."""
    _weeks(shown, found)
    _held(shown, found)
    _dearer(shown, found)


def _weeks(shown: Shown[EarnAsked], found: BookMargin) -> None:
    capacity, say = found.capacity, shown.say
    title = words.capacity_title(capacity, say)
    rows = earn_charts.week_rows(capacity.weeks, say)
    locale = shown.words.formats.locale
    heading("The bench", capacity.line)
    if not rows.empty:
        chart = shown.drawn("weeks", lambda: earn_charts.week_chart(rows, title, locale))
        card("weeks", title, words.WEEKLY, chart)
        folded_table("The weeks as a table", show.weeks_table(capacity, say))
    if capacity.open_jobs:
        count = say.count(len(capacity.open_jobs), "open job")
        folded_table(f"{count}, promised first", show.open_table(capacity, shown.asked, say))


def _held(shown: Shown[EarnAsked], found: BookMargin) -> None:
    held, say = found.held, shown.say
    heading(words.held_title(held), f"{held.line} {words.held_now(held, say)}")
    if held.rows:
        table_view(show.held_table(held, say))
        folded_table("Every hold, longest first", show.held_jobs_table(held, shown.asked, say))


def _dearer(shown: Shown[EarnAsked], found: BookMargin) -> None:
    dearer, say = found.dearer, shown.say
    heading(words.dearer_title(dearer, say), dearer.line)
    if dearer.rows:
        long_table("dearer", show.dearer_table(dearer, shown.asked, say))
        note("What came later may have been dearer for other reasons too: nobody knows what the "
             "work would have come to then.")  # fmt: skip
    if dearer.cautions:
        st.html(cautions(dearer.cautions))
