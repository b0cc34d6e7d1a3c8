"""Time: who is on what now, and how minutes worked compare with the minutes quoted."""

from __future__ import annotations

import streamlit as st

from dashboard import data, labour_worked
from dashboard import time_panels as show
from dashboard import time_words as words
from dashboard.due_panels import choices
from dashboard.labour_address import TimeAsked, time_asked
from dashboard.views.faults_shown import heading
from dashboard.views.time_clocks import clocks_view
from dashboard.views.time_job import job_view
from dashboard.views.time_rows import rows_view
from dashboard.views.time_shown import (
    Shown,
    first_day,
    folded_table,
    note,
    period_view,
    shown_of,
    table_view,
    told,
)
from ledger.asking import require
from ledger.figures.labour import BookLabour
from ledger.figures.labour_shapes import LABOUR_BY

WAITING = '<p class="lk-note lk-wait">Adding up minutes…</p>'


def page() -> None:
    """Draw what the address asks for: all minutes, or one job's."""
    book = data.open_book()
    shown = shown_of(book, time_asked(st.query_params, data.today(book)))
    if not data.asker().sees("colleagues"):
        require(data.asker(), "bench", "Who is on what")
        clocks_view(shown)
        note("How minutes compare with quotes is shown to the owner.")
        return
    if shown.asked.job:
        job_view(shown)
        return
    on_top = st.container(key="on_top")
    _minutes(shown)
    if not shown.asked.as_at:
        # drawn last: in a large book the figures are there before who is on what is looked up
        with on_top:
            clocks_view(shown)


def _minutes(shown: Shown[TimeAsked]) -> None:
    waiting = st.empty()
    waiting.html(WAITING)
    found = labour_worked.labour(shown.book, shown.asked.day, shown.asked.days)
    total = found.total
    waiting.empty()
    if not _has_any(shown, found):
        return
    st.html(show.head(found.front, show.front_tiles(total, shown.say)))
    _asked(shown, found)
    rows_view(shown, found)
    _found_later(shown, found)
    _variances(shown, found)
    told(show.notes(_others(shown, found)))


def _has_any(shown: Shown[TimeAsked], found: BookLabour) -> bool:
    """Say whether a job was closed in the period; where none was, draw that and what to do."""
    if found.cover.count_closed:
        return True
    period = shown.say.period(found.period)
    st.html(
        '<div class="lk-blank"><h1>No job was closed in these days</h1>'
        f"<p>{period}. Start a clock above when work begins on a bike, or record the minutes "
        "afterwards, and this page tells where the time goes:</p>"
        "<p><code>lockring clock log TAG --task brakes --minutes 25</code></p></div>"
    )
    if data.has_jobs(shown.book):
        period_view(shown, found.period, first_day(shown))
    return False


def _asked(shown: Shown[TimeAsked], found: BookLabour) -> None:
    asked = shown.asked
    by = [(words.BY[each], asked.where(by=each, row=""), each == asked.by) for each in LABOUR_BY]
    st.html(choices("Compared by", by))
    period_view(shown, found.period, first_day(shown))


def _found_later(shown: Shown[TimeAsked], found: BookLabour) -> None:
    later = found.found_later
    heading(words.found_later_title(later, shown.say), later.line)
    if later.rows:
        table_view(show.found_later_table(later, shown.say))


def _variances(shown: Shown[TimeAsked], found: BookLabour) -> None:
    asked, say, total = shown.asked, shown.say, found.total
    heading(words.variances_title(total.variances, say),
            words.variances_split(total.variances, say) + words.effective(total, say))  # fmt: skip
    rows = labour_worked.rows(shown.book, asked.day, asked.days, asked.by)
    folded_table(
        f"Variances by {words.BY[asked.by]}",
        show.variances_table([*rows, total], asked.by, say),
        "Standard: quoted minutes at the plain mean wage. A figure above nought cost more than "
        "that: efficiency for the minutes taken, rate for the wages of who took them.",
    )


def _others(shown: Shown[TimeAsked], found: BookLabour) -> list[str]:
    """Give what the figures rest on, but for what stands over them already."""
    return [one for one in found.notes if one != shown.say.variances(found.total)]
