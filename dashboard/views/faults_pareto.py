"""What comes back most: a bar a row, behind each bar its bikes, behind each bike its faults."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from dashboard import fault_charts, fault_say, wear_panels, worked_out
from dashboard import fault_panels as show
from dashboard.fault_address import NO_KEY, row_of
from dashboard.markup import capital, text
from dashboard.views.faults_bike import faults_of_bike
from dashboard.views.faults_shown import Shown
from ledger.figures.fault_behind import ComeBack, come_backs_behind
from ledger.figures.fault_shapes import BikeComeBacks, Pareto, ParetoRow

DRAWN = 10
FIRST_LISTED, MORE_LISTED = 8, 24


def pareto_view(shown: Shown) -> None:
    """Draw the Pareto, and the bikes of the row asked for."""
    told = worked_out.pareto(shown.book, shown.found, shown.asked.by, shown.asked.measure)
    rows = fault_say.rows_drawn(told)
    if rows:
        _chart(shown, told, rows)
    else:
        st.html(show.nothing_measured(told, shown.found.unpaid))
    chosen = next((row for row in told.rows if row_of(row.key) == shown.asked.row), None)
    _choose(shown, told, chosen)
    if chosen is not None:
        _bikes(shown, chosen)
    elif shown.asked.row:
        said = f"Nothing found goes by {shown.asked.row}, counted so."
        st.html(f'<p class="lk-note">{text(said)}</p>')


def _chart(shown: Shown, told: Pareto, rows: Sequence[ParetoRow]) -> None:
    asked, title = shown.asked, fault_say.pareto_title(told, shown.say)
    made = fault_charts.pareto_rows(rows[:DRAWN], told.measure, asked.row, shown.say)
    key = f"pareto-{asked.by}-{asked.measure}-{asked.row}"
    with st.container(key="reading-pareto"):
        st.html(wear_panels.card_head(title, fault_say.told_by(told.measure), level=2))
        chart = shown.drawn(
            f"{key} {shown.say.settings.currency}",
            lambda: fault_charts.pareto_chart(made, title, shown.words.formats.locale),
        )
        # a chart of its own for each choice: none is left with a bar picked that is not shown
        st.vega_lite_chart(
            chart,
            theme=None,
            width="stretch",
            key=key,
            on_select=lambda: _picked(shown, key),
            selection_mode=fault_charts.PICKED,
        )
        if len(rows) > DRAWN:
            left = f"{shown.say.figure(len(rows) - DRAWN)} more came back, each less than these."
            st.html(f'<p class="lk-note">{text(left)}</p>')
        st.html(show.pareto_table(told, shown.say))


def _picked(shown: Shown, key: str) -> None:
    picked = st.session_state[key].selection.get(fault_charts.PICKED)
    if picked:
        shown.go(row=picked[0]["row"], tag="")


def _choose(shown: Shown, told: Pareto, chosen: ParetoRow | None) -> None:
    """Offer the same rows by name, for whoever does not point at bars."""
    labels = {row_of(row.key): _choice(row, shown) for row in told.rows}
    key = f"row-{shown.asked.by}"
    st.session_state[key] = row_of(chosen.key) if chosen else None
    with st.container(key="choose_row"):
        st.selectbox(
            f"Bikes of a {fault_say.WHAT[told.by]}",
            list(labels),
            key=key,
            format_func=lambda row: labels.get(row, row),
            placeholder="Choose one, or press its bar",
            on_change=lambda: shown.go(row=st.session_state[key] or "", tag=""),
        )


def _choice(row: ParetoRow, shown: Shown) -> str:
    counts = row.counts
    back = shown.say.count(counts.count_come_back, "come-back")
    return f"{capital(row.label)}: {back}, {shown.say.figure(counts.count_found)} found"


# -- the bikes of a row -----------------------------------------------------------------------


def _bikes(shown: Shown, row: ParetoRow) -> None:
    found = worked_out.bikes_behind(shown.book, shown.found, shown.asked.by, row.key)
    back = [one for one in found if one.count_come_back]
    label = capital(row.label)
    title = text(f"{label}: {_bikes_title(len(back), shown)}")
    said = text(show.kept(_of_row(row, len(found), shown)))
    st.html(f'<h2 class="lk-title">{title}</h2><p class="lk-note">{said}</p>')
    if shown.asked.row == NO_KEY and shown.asked.by == "fault":
        st.html('<p class="lk-note">No fault was found again in these jobs; they are listed below '
                "among the jobs that came back.</p>")  # fmt: skip
    key = f"behind-{shown.asked.by}-{shown.asked.row}"
    most = st.session_state.get(key, FIRST_LISTED)
    listed = _asked_first(back, found, shown.asked.tag)[:most]
    backs = come_backs_behind(shown.found, shown.asked.by, row.key, [one.bike for one in listed])
    with st.container(key="behind"):
        for one in listed:
            _bike(shown, one, [each for each in backs if each.bike == one.bike])
    if len(back) > most:
        more = min(MORE_LISTED, len(back) - most)
        st.button(
            f"Show {more} more bikes", on_click=st.session_state.update, kwargs={key: most + more}
        )


def _bikes_title(count: int, shown: Shown) -> str:
    if not count:
        return "on no bike is it known to have come back"
    return f"{shown.say.count(count, 'bike')} it came back on"


def _of_row(row: ParetoRow, bikes: int, shown: Shown) -> str:
    say, counts = shown.say, row.counts
    return (
        f"Found {say.count(counts.count_found, 'time')} on {say.count(bikes, 'bike')}, put right "
        f"{say.count(counts.count_put_right, 'time')}, came back "
        f"{say.count(counts.count_come_back, 'time')}: {row.verdict}."
    )


def _asked_first(
    back: Sequence[BikeComeBacks], found: Sequence[BikeComeBacks], tag: str
) -> list[BikeComeBacks]:
    """Give the bikes it came back on, the one asked for first where it would not be listed."""
    if not tag or any(one.bike == tag for one in back[:FIRST_LISTED]):
        return list(back)
    asked = [one for one in found if one.bike == tag]
    return [*asked, *(one for one in back if one.bike != tag)]


def _bike(shown: Shown, one: BikeComeBacks, backs: Sequence[ComeBack]) -> None:
    is_open = one.bike == shown.asked.tag
    with st.container(key=f"behind-{one.bike}"):
        with st.container(key=f"bike-{one.bike}", horizontal=True, vertical_alignment="top"):
            st.button(
                one.bike,
                key=f"open-{one.bike}",
                icon=":material/expand_less:" if is_open else ":material/expand_more:",
                help="Fold its faults" if is_open else "Its faults, one by one",
                on_click=shown.go,
                kwargs={"tag": "" if is_open else one.bike},
            )
            st.html(show.of_bike(one, backs, shown.say))
        if is_open:
            where = shown.asked.of_bike(one.bike)
            link = f'<a href="{text(where)}" target="_self">The page of bike {text(one.bike)}</a>'
            st.html(f'<p class="lk-onward">{link}</p>')
            faults_of_bike(shown, one.bike)
