"""One bike's faults one by one, wherever on the page of faults they are shown."""

from __future__ import annotations

import streamlit as st

from dashboard import (
    data,
    fault_lanes,
    fault_timeline,
    filters,
    markup,
    panels,
    wear_panels,
    worked_out,
)
from dashboard import fault_panels as show
from dashboard.views.faults_shown import Shown
from ledger.figures.fault_shapes import BikeFaults

CHART_ROOM = 12
"""How many lanes a chart holds; the rest is in the list."""


def bike_view(shown: Shown, tag: str) -> None:
    """Draw the page of one bike's faults, or that there is no such bike."""
    if tag not in data.tags(shown.book):
        _unknown(shown, tag)
        return
    bike = data.bike(shown.book, tag)
    st.set_page_config(page_title=f"Faults of {tag} · Lockring")
    above = (
        ("All faults", shown.asked.where(tag="")),
        (f"Bike {tag}", shown.asked.of_bike(tag)),
    )
    found = _found(shown, tag)
    facts = {
        "Found": shown.say.figure(found.counts.count_found),
        "Put right": shown.say.figure(found.counts.count_put_right),
        "Came back": shown.say.figure(found.counts.count_did_not_hold),
        "Open": shown.say.figure(found.counts.count_open),
    }
    head = wear_panels.facts(f"Faults of {bike.name}", facts)
    st.html(wear_panels.path(*above) + _as_at(shown) + head)
    st.html(show.window_line(shown.asked.window, shown.say))
    faults_of_bike(shown, tag)


def _unknown(shown: Shown, tag: str) -> None:
    near = filters.nearest_tags(tag, data.tags(shown.book))
    blank = markup.blank(f"No bike has the tag {tag}", "Check its plate.")
    st.html(wear_panels.path(("All faults", shown.asked.where(tag=""))) + blank)
    if near:
        st.html(panels.bike_list(data.named(shown.book, near), shown.words))


def _found(shown: Shown, tag: str) -> BikeFaults:
    return worked_out.faults_of_bike(shown.book, tag, shown.asked.day, shown.asked.window)


def _as_at(shown: Shown) -> str:
    return wear_panels.as_at_note(shown.asked.day, shown.words)


def faults_of_bike(shown: Shown, tag: str) -> None:
    """Draw one bike's faults: in a sentence, as a chart, line by line, with what was linked."""
    found = _found(shown, tag)
    if not found.episodes:
        st.html('<p class="lk-note">No fault was ever found on it. That says nothing of what '
                "nobody looked at.</p>")  # fmt: skip
        return
    _lanes(shown, found)
    last = fault_timeline.linked(found.jobs, shown.asked, shown.say)
    st.html(fault_timeline.stories(found) + last + show.cautions(found.cautions))


def _lanes(shown: Shown, found: BikeFaults) -> None:
    title = fault_timeline.title(found)
    lanes = list(dict.fromkeys(fault_lanes.lane_of(one) for one in reversed(found.episodes)))
    kept = set(lanes[:CHART_ROOM])
    episodes = [one for one in found.episodes if fault_lanes.lane_of(one) in kept]
    frame = shown.frame(episodes[0].found_at)
    rows, held = (
        fault_lanes.lane_rows(episodes, frame),
        fault_lanes.held_rows(episodes, frame),
    )
    with st.container(key="reading-lanes"):
        st.html(wear_panels.card_head(title, ""))
        st.html(fault_timeline.summary(found) + fault_timeline.LEGEND)
        chart = shown.drawn(
            f"lanes {found.bike}", lambda: fault_lanes.lane_chart(rows, held, title, frame)
        )
        st.vega_lite_chart(chart, theme=None, width="stretch", key=f"lanes-{found.bike}")
        if len(lanes) > CHART_ROOM:
            more = f"Drawn: the {CHART_ROOM} faults found last; the others are in the list."
            st.html(f'<p class="lk-note">{markup.text(more)}</p>')
