"""The chart of one bike's faults: a lane a fault, from found to put right, and how long it held."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

import altair as alt
import pandas as pd

from dashboard.chart_theme import ACCENT, GROOVE, INK, SHEET, drawn
from dashboard.charts import Frame
from dashboard.dot_charts import AXIS_HEIGHT
from dashboard.markup import capital
from ledger.figures.fault_shapes import FaultEpisode

LANE, BELOW = 46, 10
"""Pixels a lane takes, and how far its marks stand below its middle."""
LONGEST_LABEL = 250
STATES = {
    "came back": ("var(--lk-due)", "triangle-up"),
    "found again, later": ("var(--lk-watch)", "diamond"),
    "found": (INK, "circle"),
}
"""Colour and shape of where a fault was found, by how."""


def lane_of(one: FaultEpisode) -> str:
    """Give the name of the lane an episode lies in."""
    return capital(f"{one.place}, {one.fault_label}")


def state_of(one: FaultEpisode) -> str:
    """Give how an episode was found: a key of STATES."""
    if one.is_come_back:
        return "came back"
    return "found" if one.answers_seq is None else "found again, later"


def lane_rows(episodes: Sequence[FaultEpisode], frame: Frame) -> pd.DataFrame:
    """Give one row an episode: lane, found and ended (wall time), state, and if it is open."""
    last = max(frame.span)
    rows = [
        (lane_of(one), frame.local(one.found_at),
         frame.local(one.put_right_at or one.cleared_at or last), state_of(one), one.is_open)
        for one in episodes
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["lane", "found", "ended", "state", "is_open"])


def held_rows(episodes: Sequence[FaultEpisode], frame: Frame) -> pd.DataFrame:
    """Give one row a repair that did not last: lane, put right, found again, and for how long."""
    by_key = {(one.position, one.fault, one.found_seq): one for one in episodes}
    rows: list[tuple[str, datetime, datetime, int]] = []
    for one in episodes:
        answered = by_key.get((one.position, one.fault, one.answers_seq or -1))
        if answered is not None and answered.put_right_at is not None:
            days = round(one.days_since_repair or 0.0)
            start, end = frame.local(answered.put_right_at), frame.local(one.found_at)
            rows.append((lane_of(one), start, end, days))
    return pd.DataFrame(rows, columns=["lane", "put_right", "again", "days"])


def lane_chart(
    rows: pd.DataFrame, held: pd.DataFrame, description: str, frame: Frame
) -> dict[str, Any]:
    """Give the lanes over time (see `lane_rows`, `held_rows`), those found last on top."""
    order = list(dict.fromkeys(rows.sort_values("found", ascending=False)["lane"]))
    y = alt.Y("lane:N", sort=order, scale=alt.Scale(domain=order), axis=None)
    axis = alt.Axis(tickCount=4, labelOverlap=True, labelFlush=True, gridColor=GROOVE)
    # the domain stands with the marks alone: beside an end of its own it would be read twice
    x = alt.X("found:T", title=None, axis=axis, scale=alt.Scale(domain=_ends(frame), nice=False))
    base = alt.Chart(rows).encode(y=y)
    lanes = pd.DataFrame({"lane": order})
    names = alt.Chart(lanes).mark_text(
        align="left", dx=2, dy=-BELOW, color=INK, fontSize=13, limit=LONGEST_LABEL
    )
    layers = [
        *_held(held, y),
        base.mark_rule(strokeWidth=6, color=ACCENT, yOffset=BELOW).encode(
            x="found:T", x2="ended:T"
        ),
        names.encode(y=y, x=alt.value(0), text="lane:N"),
        _marks(base, x),
    ]
    chart = alt.layer(*layers).properties(
        height=LANE * len(order) + AXIS_HEIGHT - 28, description=description
    )
    return drawn(chart, frame.locale)


def _ends(frame: Frame) -> list[dict[str, int]]:
    """Give the first and last instant shown, with room for the marks."""
    first, last = (frame.local(moment) for moment in frame.span)
    room = max((last - first) / 40, timedelta(hours=6))
    return [
        {"year": one.year, "month": one.month, "date": one.day, "hours": one.hour}
        for one in (first - room, last + room)
    ]


def _held(held: pd.DataFrame, y: alt.Y) -> list[alt.Chart]:
    if held.empty:
        return []
    rule = alt.Chart(held).mark_rule(color=INK, strokeDash=[2, 3], yOffset=BELOW)
    tip = alt.Tooltip("days:Q", title="days until found again")
    return [rule.encode(y=y, x="put_right:T", x2="again:T", tooltip=tip)]


def _marks(base: alt.Chart, x: alt.X) -> alt.Chart:
    known = list(STATES)
    colours, shapes = ([STATES[name][place] for name in known] for place in (0, 1))
    tips = [
        alt.Tooltip("lane:N", title="fault"),
        alt.Tooltip("state:N", title="how"),
        alt.Tooltip("found:T", title="found", format="%x"),
        alt.Tooltip("ended:T", title="until", format="%x"),
    ]
    marks = base.mark_point(
        size=110, filled=True, stroke=SHEET, strokeWidth=1, opacity=1, yOffset=BELOW
    )
    return marks.encode(
        x=x,
        color=alt.Color("state:N", legend=None, scale=alt.Scale(domain=known, range=colours)),
        shape=alt.Shape("state:N", legend=None, scale=alt.Scale(domain=known, range=shapes)),
        tooltip=tips,
    )
