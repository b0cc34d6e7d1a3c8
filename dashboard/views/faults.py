"""Faults that come back: how many, what that takes, on which bikes, and how sure it is."""

from __future__ import annotations

from datetime import date

import streamlit as st

from dashboard import data, markup, wear_panels
from dashboard import fault_panels as show
from dashboard.fault_address import LONGEST_DAYS, LONGEST_KM, asked_of, for_asker
from dashboard.views.faults_bike import bike_view
from dashboard.views.faults_pareto import pareto_view
from dashboard.views.faults_shown import Shown, shown_of
from dashboard.views.faults_sure import sure_view
from ledger.figures.fault_behind import (
    first_found_at,
    newest_carried,
    newest_gone,
    newest_immature,
)

FIRST_LISTED, MORE_LISTED, NAMED = 8, 40, 20


def page() -> None:
    """Draw what the address asks for: all faults, or one bike's."""
    book = data.open_book()
    asked = for_asker(asked_of(st.query_params, data.today(book)), data.asker())
    shown = shown_of(book, asked)
    if shown.asked.tag and not shown.asked.row:
        bike_view(shown, shown.asked.tag)
        return
    first = first_found_at(shown.found)
    if first is None:
        _nothing(shown)
        return
    st.html(show.front(shown.found) + show.period(shown.asked, first, shown.words))
    _filters(shown, first.astimezone(shown.words.formats.zone).date())
    pareto_view(shown)
    _jobs(shown)
    _not_counted(shown)
    sure_view(shown)
    if shown.found.cautions:
        st.html(show.cautions(shown.found.cautions))


def _nothing(shown: Shown) -> None:
    st.html(
        wear_panels.as_at_note(shown.asked.day, shown.words)
        + '<div class="lk-blank"><h1>No fault has been found on any bike</h1>'
        "<p>Record what is found and what puts it right (<code>puts_right</code>), and this page "
        "tells which repairs do not hold:</p><p><code>lockring record --follow</code></p></div>"
    )


# -- what to show -----------------------------------------------------------------------------


def _filters(shown: Shown, first: date) -> None:
    st.html(show.controls(shown.asked, data.asker()))
    with st.container(key="faults_asked", horizontal=True, vertical_alignment="bottom"):
        _end(shown, "days", "Window: days", LONGEST_DAYS)
        _end(shown, "km", "Window: km", LONGEST_KM)
        if shown.asked.window is not None:
            st.button("The shop's own window", on_click=shown.go, kwargs={"days": None, "km": None})
        _date(shown, first)
    st.html(show.window_line(shown.asked.window, shown.say))


def _end(shown: Shown, name: str, label: str, most: int) -> None:
    """Offer one end of the window; left empty, each fault keeps the shop's."""
    key = f"window_{name}"
    st.session_state[key] = getattr(shown.asked, name)
    st.number_input(
        label,
        min_value=0,
        max_value=most,
        step=30 if name == "days" else 100,
        key=key,
        placeholder="the shop's",
        on_change=lambda: shown.go(**{name: st.session_state[key]}),
        width=150,
    )


def _date(shown: Shown, first: date) -> None:
    today = data.today(shown.book)
    st.session_state["faults_day"] = min(max(shown.day, min(first, today)), today)
    st.date_input(
        "As at",
        min_value=min(first, today),
        max_value=today,
        key="faults_day",
        format=shown.words.formats.picker_pattern(),
        on_change=lambda: _go_to(shown, st.session_state["faults_day"], today),
        width=150,
    )


def _go_to(shown: Shown, day: date | None, today: date) -> None:
    shown.go(as_at="" if day is None or day >= today else day.isoformat())


# -- jobs, and what is not counted ------------------------------------------------------------


def _jobs(shown: Shown) -> None:
    most = st.session_state.get("jobs_most", FIRST_LISTED)
    found = shown.found.newest_jobs(most + MORE_LISTED)
    st.html('<h2 class="lk-title">Jobs that came back</h2>')
    if not found:
        st.html('<p class="lk-note">No job is known to answer an earlier one.</p>')
        return
    said = (
        "The newest first. A job answers the one whose repair did not hold: matched by itself, "
        "unless somebody said or judged otherwise; one judged no come-back is listed as such."
    )
    listed = show.jobs(found[:most], shown.asked, shown.say)
    st.html(f'<p class="lk-note">{markup.text(said)}</p>{listed}')
    if len(found) > most:
        more = len(found) - most
        st.button(
            f"Show {more} more jobs",
            on_click=st.session_state.update,
            kwargs={"jobs_most": most + more},
        )


def _not_counted(shown: Shown) -> None:
    found, asked, say = shown.found, shown.asked, shown.say
    counts = found.counts
    body = (
        show.not_put_right(
            "Carried over the end of a job",
            newest_carried(found, NAMED),
            counts.count_carried,
            asked,
            say,
        )
        + show.not_put_right(
            "Gone without work",
            newest_gone(found, NAMED),
            counts.count_closed_without_work,
            asked,
            say,
        )
        + show.immature(newest_immature(found, NAMED), counts.count_immature, asked, say)
    )
    title = "Not put right, and not to be judged yet"
    st.html(markup.section(title, body) + show.notes(found))
