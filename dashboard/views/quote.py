"""Quote: minutes and a price for a job that is planned, and servicing a part against a new one."""

from __future__ import annotations

import streamlit as st

from dashboard import data, labour_worked, quote_charts
from dashboard import quote_panels as show
from dashboard.fault_panels import cautions
from dashboard.labour_worked import Plan
from dashboard.markup import blank
from dashboard.quote_address import QuoteAsked, quote_asked
from dashboard.time_panels import head, notes
from dashboard.views.faults_shown import heading
from dashboard.views.quote_part import part_view
from dashboard.views.quote_plan import plan_view
from dashboard.views.time_shown import Shown, card, note, shown_of, table_view, told
from ledger.errors import LedgerError
from ledger.figures.foresee_shapes import JobForecast

WAITING = '<p class="lk-note lk-wait">Looking at jobs like it…</p>'


def page() -> None:
    """Draw the forecast the address asks for, what it is made of, and how such forecasts held."""
    book = data.open_book()
    asked = quote_asked(st.query_params, data.today(book), book.vocabulary)
    shown = shown_of(book, asked)
    tiers = list(book.vocabulary.tiers)
    plan = asked.plan(tiers[0] if tiers else None, book.settings.minor_digits)
    answer = st.container(key="answer")
    plan_view(shown, plan)
    with answer:
        found = _foretold(shown, plan)
    if found is not None:
        _picture(shown, found)
        _held(shown)
    part_view(shown)


def _foretold(shown: Shown[QuoteAsked], plan: Plan) -> JobForecast | None:
    """Draw the answer; where there is none, why."""
    if plan.is_empty:
        st.html(blank("What is to be done?", "Choose a tier or tasks below: this page tells how "
                      "many minutes such jobs take here, and what to ask for them."))  # fmt: skip
        return None
    waiting = st.empty()
    waiting.html(WAITING)
    try:
        found = labour_worked.forecast(shown.book, shown.asked.day, plan)
    except LedgerError as error:
        waiting.html(blank("This cannot be foretold", str(error)))
        return None
    waiting.empty()
    st.html(head(found.front, show.forecast_tiles(found, shown.say)))
    return found


def _picture(shown: Shown[QuoteAsked], found: JobForecast) -> None:
    say, locale = shown.say, shown.words.formats.locale
    asked_for = show.chance_title(found, say)
    if asked_for:
        heading(asked_for)
    title, room = show.minutes_title(found, say), show.room_title(found.bench)
    rows = quote_charts.minute_rows(found, say)
    left = found.bench.left_minutes
    chart = shown.drawn("minutes", lambda: quote_charts.minute_chart(rows, left, title, locale))
    said = "Outline: as planned."
    if left is not None and left > 0:
        said += " Dashed line: what is left of today's bench."
    card("minutes", title, said, chart, level=2)
    heading(room, found.bench.line)
    table_view(show.tasks_table(found, say), "What is planned")
    told(notes(found.notes, "What this rests on") + cautions(found.cautions))


def _held(shown: Shown[QuoteAsked]) -> None:
    """Draw how well such forecasts held, folded; it is worked out when it is unfolded."""
    st.session_state["held"] = shown.asked.sure
    fold = st.expander("How well have such forecasts held?", key="held",
                       on_change=lambda: shown.go(sure=bool(st.session_state["held"])))  # fmt: skip
    if not fold.open:
        return
    with fold:
        found, say = labour_worked.held_so_far(shown.book, shown.asked.day), shown.say
        note(found.front)
        if found.folds:
            title = show.calibration_title(found, say)
            rows, locale = quote_charts.fold_rows(found, say), shown.words.formats.locale
            chart = shown.drawn("folds", lambda: quote_charts.fold_chart(rows, title, locale))
            card("folds", title, "Dots: P50. Diamonds: P80. Shaded: 45 to 55 % and 75 to 85 %.",
                 chart)  # fmt: skip
            table_view(show.folds_table(found, say))
        note(" ".join([show.pinball(found, say), *found.notes]))
