"""Minutes against quote by tier, task, month or kind of bike, and behind each row its jobs."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from dashboard import labour_worked, time_charts
from dashboard import time_panels as show
from dashboard import time_words as words
from dashboard.fault_address import row_of
from dashboard.fault_charts import PICKED
from dashboard.labour_address import TimeAsked
from dashboard.markup import capital
from dashboard.views.faults_shown import heading
from dashboard.views.time_shown import Shown, folded_table, long_table, note, picking_card
from ledger.figures.labour import BookLabour
from ledger.figures.labour_shapes import LabourRow

DRAWN = 14
"""Rows a chart holds; the others are in its table."""


def rows_view(shown: Shown[TimeAsked], found: BookLabour) -> None:
    """Draw the spread of ratios by row, and the jobs of the row asked for."""
    asked = shown.asked
    rows = labour_worked.rows(shown.book, asked.day, asked.days, asked.by)
    _chart(shown, rows)
    chosen = next((row for row in rows if row_of(row.key) == asked.row), None)
    _choose(shown, rows, chosen)
    if chosen is not None:
        _jobs(shown, chosen)
    elif asked.row:
        note(f"No job closed in these days goes by {asked.row}, compared so.")
    folded_table("The same as a table", show.rows_table(rows, asked, shown.say))


def _chart(shown: Shown[TimeAsked], rows: Sequence[LabourRow]) -> None:
    asked, say = shown.asked, shown.say
    title = words.spread_title(rows, asked.by, say)
    made = time_charts.spread_rows(rows, asked.by, asked.row, say)
    if made.empty:
        note(f"{title}.")
        return
    build = time_charts.month_chart if asked.by == "month" else time_charts.spread_chart
    most = made if asked.by == "month" else made.head(DRAWN)
    locale = shown.words.formats.locale
    chart = shown.drawn("spread", lambda: build(most, title, locale))
    picking_card(shown, f"spread-{asked.by}", title, words.spread_note(asked.by), chart, PICKED)


def _choose(shown: Shown[TimeAsked], rows: Sequence[LabourRow], chosen: LabourRow | None) -> None:
    """Offer the same rows by name, for whoever does not point at charts."""
    labels = {row_of(row.key): show.choice_label(row, shown.say) for row in rows}
    key = f"jobs-of-{shown.asked.by}"
    st.session_state[key] = row_of(chosen.key) if chosen else None
    with st.container(key="choose_row"):
        st.selectbox(
            f"Jobs of a {words.BY[shown.asked.by]}",
            list(labels),
            key=key,
            format_func=lambda row: labels.get(row, row),
            placeholder="Choose one, or press it above",
            on_change=lambda: shown.go(row=st.session_state[key] or ""),
        )


def _jobs(shown: Shown[TimeAsked], row: LabourRow) -> None:
    asked = shown.asked
    found = labour_worked.labour_jobs(shown.book, asked.day, asked.days, asked.by, row.key)
    heading(f"{capital(row.label)}: {shown.say.count(len(found), 'job')}, furthest over first",
            "Press a job for its steps from quoted to worked, and to charged.")  # fmt: skip
    long_table("jobs", show.jobs_table(found, asked, shown.say))
