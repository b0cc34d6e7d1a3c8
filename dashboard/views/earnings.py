"""Earnings: what each tier leaves, what it takes to break even, and where the bench's days go."""

from __future__ import annotations

import streamlit as st

from dashboard import data, labour_worked
from dashboard import earn_panels as show
from dashboard.labour_address import EarnAsked, earn_asked
from dashboard.markup import text
from dashboard.time_panels import head, notes
from dashboard.views.earnings_bench import bench_view
from dashboard.views.earnings_tiers import months_view, tiers_view
from dashboard.views.earnings_what_if import what_if_view
from dashboard.views.time_shown import Shown, first_day, period_view, shown_of, told
from ledger.figures.margin import BookMargin

WAITING = '<p class="lk-note lk-wait">Adding up what was charged and what it cost…</p>'


def page() -> None:
    """Draw what the address asks for."""
    book = data.open_book()
    shown = shown_of(book, earn_asked(st.query_params, data.today(book)))
    waiting = st.empty()
    waiting.html(WAITING)
    found = labour_worked.margin(book, shown.asked.day, shown.asked.days)
    total = found.total
    waiting.empty()
    if not total.count_jobs:
        _nothing(shown, found)
        return
    st.html(_head(found, shown))
    period_view(shown, found.period, first_day(shown))
    tiers_view(shown, found)
    what_if_view(shown, found)
    months_view(shown, found)
    bench_view(shown, found)
    told(notes(found.notes))


def _head(found: BookMargin, shown: Shown[EarnAsked]) -> str:
    tiles = show.front_tiles(found.total, found.break_even, found.not_carried, shown.say)
    return head(found.front, tiles)


def _nothing(shown: Shown[EarnAsked], found: BookMargin) -> None:
    period = text(shown.say.period(found.period))
    st.html(
        '<div class="lk-blank"><h1>No job was closed in these days</h1>'
        f"<p>{period}. Close jobs with what is charged, tell wages, prices and fixed cost, and "
        "this page tells what each tier earns:</p>"
        "<p><code>lockring record terms_set</code></p></div>"
    )
    if data.has_jobs(shown.book):
        period_view(shown, found.period, first_day(shown))
