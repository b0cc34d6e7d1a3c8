"""One part against its limit: its readings, its line, and when it is due."""

from __future__ import annotations

import streamlit as st

from dashboard import data, markup, wear_charts, worked_out
from dashboard import wear_panels as show
from dashboard import wear_words as say
from dashboard.markup import capital
from dashboard.views.wear_shown import Shown, as_at_line, bike_address, unknown
from ledger.figures.wear import PartWear


def part_view(shown: Shown, series: str) -> None:
    """Draw the part of a series, or that there is none of that name."""
    part = shown.wear.part(series)
    if part is None:
        unknown(shown, "No part is read under that name", "Choose a sort of part:")
        return
    words, family = shown.words, shown.families[series]
    name = capital(say.part_name(part, words))
    st.set_page_config(page_title=f"{name} of {part.bike} · Lockring")
    label = capital(say.family_name(family, words))
    above = (
        ("All wear", shown.where()),
        (label, shown.where(family=family)),
        (f"Parts of {part.bike}", shown.where(tag=part.bike)),
        (f"Bike {part.bike}", bike_address(shown, part.bike)),
    )
    head = f"{name}, {words.quantity(part.quantity)}"
    facts = {
        "Part": say.model_name(part),
        "Bike": data.bike(shown.book, part.bike).name,
        "Riding": words.riding(part.riding) if part.riding else "not known",
        "Fitted" if part.is_from_new else "First seen": words.formats.day(part.fitted_at),
    }
    st.html(show.path(*above) + as_at_line(shown) + show.facts(head, facts))
    _part_body(shown, part)


def _part_body(shown: Shown, part: PartWear) -> None:
    words, errors = shown.words, worked_out.reading_errors(shown.wear, part.series)
    title = say.due(part, words.formats)
    with st.container(key="body"):
        main, side = st.columns([7, 5], gap="large")
    with main, st.container(key="reading-part"):
        st.html(show.card_head(title, say.stands(part, words.formats), say.chance_mark(part)))
        band = shown.wear.band(part.series)
        drawn = wear_charts.part_chart(part, band, errors, title, words.formats.locale)
        st.vega_lite_chart(drawn, theme=None, width="stretch", key="part")
        st.html(_legend(part, bool(band)))
    with side:
        day = words.formats.day(shown.day)
        st.html(show.part_facts(part, words, day) + show.caution([part], words))
    table = show.readings_table(part, errors, words)
    st.html(markup.section("Its readings", table.replace("lk-table", "lk-table lk-headed", 1)))


def _legend(part: PartWear, has_line: bool) -> str:
    line = (
        '<span><i class="lk-bandmark"></i>its line, with the band that holds eight of ten</span>'
        if has_line
        else ""
    )
    window = (
        '<span><i class="lk-windowmark"></i>where it reaches its limit, eight times in ten</span>'
        if part.due_in and part.due_in.high != 0
        else ""
    )
    return (
        '<p class="lk-legend"><span><i></i>limit, the side past it shaded</span>'
        "<span>upright strokes: what a gauge's error, or a go/no-go, leaves open</span>"
        f"{line}{window}</p>"
    )
