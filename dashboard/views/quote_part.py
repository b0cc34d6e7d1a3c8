"""Service or replace: what each comes to a km, for a part on a bike."""

from __future__ import annotations

import streamlit as st

from dashboard import data, filters, labour_worked, quote_charts
from dashboard import quote_panels as show
from dashboard.fault_panels import cautions
from dashboard.markup import capital
from dashboard.quote_address import QuoteAsked
from dashboard.time_panels import notes
from dashboard.views.faults_shown import heading
from dashboard.views.time_shown import Shown, card, note, table_view, told
from ledger.errors import LedgerError
from ledger.figures.foresee_shapes import ServiceOrReplace


def part_view(shown: Shown[QuoteAsked]) -> None:
    """Draw what is fitted on the bike asked for, and for the part chosen its two costs."""
    heading("Service a part, or fit a new one?")
    asked = shown.asked
    if not asked.tag:
        note("Enter a bike's tag above, then choose a part of it here.")
        return
    if asked.tag not in data.tags(shown.book):
        near = filters.nearest_tags(asked.tag, data.tags(shown.book))
        note(f"No bike has the tag {asked.tag}."
             + (f" Nearly the same: {', '.join(near)}." if near else ""))  # fmt: skip
        return
    fitted = _fitted(shown)
    if not fitted:
        note("Nothing is on record as fitted on it.")
        return
    _choose(shown, fitted)
    if asked.position:
        _part(shown)


def _fitted(shown: Shown[QuoteAsked]) -> list[str]:
    at = data.end_of(shown.book, shown.day)
    return sorted({part.position for part in data.view(shown.book, shown.asked.tag, at).fitted})


def _choose(shown: Shown[QuoteAsked], fitted: list[str]) -> None:
    asked = shown.asked
    st.session_state["part"] = asked.position if asked.position in fitted else None
    with st.container(key="choose_row"):
        st.selectbox(
            f"Part of bike {asked.tag}",
            fitted,
            key="part",
            format_func=lambda position: capital(shown.say.place(position)),
            placeholder="Choose one",
            on_change=lambda: shown.go(position=st.session_state["part"] or ""),
        )


def _part(shown: Shown[QuoteAsked]) -> None:
    asked, say = shown.asked, shown.say
    try:
        found = labour_worked.replacing(shown.book, asked.day, asked.tag, asked.position)
    except LedgerError as error:
        note(str(error))
        return
    heading(found.front)
    rows = quote_charts.cost_rows(found, say)
    if not rows.empty:
        _picture(shown, found)
    table_view(show.costs_table(found, say))
    told(notes([*found.assumptions, *found.notes], "What this assumes")
            + cautions(found.cautions))  # fmt: skip


def _picture(shown: Shown[QuoteAsked], found: ServiceOrReplace) -> None:
    title, locale = show.costs_title(found, shown.say), shown.words.formats.locale
    rows = quote_charts.cost_rows(found, shown.say)
    unit = f"{shown.say.currency} per 1,000 km that remain"
    chart = shown.drawn("costs", lambda: quote_charts.cost_chart(rows, unit, title, locale))
    card("costs", title, "Dot: expected. Thick: eight times in ten.", chart)
