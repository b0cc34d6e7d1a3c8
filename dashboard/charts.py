"""Charts: readings of one quantity at one position against the limit they were held to.

Colours are the style sheet's own variables, so that a chart turns with light and dark.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

import altair as alt
import pandas as pd
from babel import Locale

from dashboard.chart_theme import ACCENT, INK, LINE, SHEET, SOFT, VERDICT_MARKS, config
from dashboard.entries import Point

HEIGHT = 176
AS_AT = "as_at"
IS_LATER = f"datum.when > toDate({AS_AT})"
NO_LIMIT = "no limit known"
SHADE_OPACITY = 0.07
COLUMNS = ["when", "figure", "low", "high", "limit", "verdict", "life"]


@dataclass(frozen=True)
class Frame:
    """What every chart of a page shares."""

    span: tuple[datetime, datetime]
    """The bike's time in the book up to now, as instants."""
    zone: tzinfo
    locale: Locale

    def local(self, moment: datetime) -> datetime:
        """Give an instant as wall time in the book's zone, which is what an axis shows."""
        return moment.astimezone(self.zone).replace(tzinfo=None)


@dataclass(frozen=True)
class Scale:
    """What a chart's figures are in, and on which side of the limit they are past it."""

    unit: str
    worn_side: str | None
    """`above`, `below`, or None where that is not known."""


def chart_rows(
    points: Sequence[Point], fitted_at: Sequence[datetime], frame: Frame
) -> pd.DataFrame:
    """Give one row a reading: wall time, figure, interval, limit, verdict, and which part's life.

    An interval stands at its known end; `low` and `high` are both ends. A life ends where
    another part is fitted, so that no line joins a worn part to a new one.
    """
    rows = []
    for point in points:
        known = next((f for f in (point.value, point.low, point.high) if f is not None), None)
        rows.append(
            {
                "when": frame.local(point.measured_at),
                "figure": _plain(known),
                "low": _plain(point.low),
                "high": _plain(point.high),
                "limit": _plain(point.limit),
                "verdict": point.verdict or NO_LIMIT,
                "life": sum(1 for moment in fitted_at if moment <= point.measured_at),
            }
        )
    return pd.DataFrame(rows, columns=COLUMNS)


def _plain(value: Any) -> float | None:
    return None if value is None else float(value)


def limit_steps(rows: pd.DataFrame, start: datetime, end: datetime) -> pd.DataFrame:
    """Give the limit over the whole width: each reading's own, carried on to the next."""
    known = rows.dropna(subset=["limit"])[["when", "limit"]]
    if known.empty:
        return known
    first, last = known.iloc[[0]].assign(when=start), known.iloc[[-1]].assign(when=end)
    return pd.concat([first, known, last], ignore_index=True)


def figure_range(rows: pd.DataFrame) -> list[float]:
    """Give the lowest and highest figure to show, limits and intervals in, with room around.

    Where no figure is below nought, the picture ends there.
    """
    figures = rows[["figure", "low", "high", "limit"]].stack().dropna()
    low, high = float(figures.min()), float(figures.max())
    room = (high - low) * 0.16 or abs(high) * 0.25 or 1.0
    return [max(low - room, 0.0) if low >= 0 else low - room, high + room]


def interval_ends(rows: pd.DataFrame) -> pd.DataFrame:
    """Give the readings that are intervals; an open end reaches the edge of the picture."""
    low, high = figure_range(rows)
    spans = rows.dropna(subset=["low", "high"], how="all")
    return spans.assign(low=spans["low"].fillna(low), high=spans["high"].fillna(high))


def _limit_layers(steps: pd.DataFrame, x: alt.X, y: alt.Y, scale: Scale) -> list[alt.Chart]:
    line = alt.Chart(steps).mark_line(
        interpolate="step-after", color=INK, strokeDash=[5, 3], strokeWidth=1.5
    )
    layers = [line.encode(x=x, y=y), *_limit_words(steps)]
    if scale.worn_side is None:
        return layers
    low, high = y.to_dict()["scale"]["domain"]
    end = alt.datum(high if scale.worn_side == "above" else low)
    shade = alt.Chart(steps).mark_area(
        interpolate="step-after", color=INK, opacity=SHADE_OPACITY, line=False
    )
    return [shade.encode(x=x, y=y, y2=end), *layers]


def _limit_words(steps: pd.DataFrame) -> list[alt.Chart]:
    """Give the limit that holds now, named at the right of the picture where no reading is."""
    last = alt.Chart(steps.iloc[[-1]]).encode(x=alt.value("width"), y="limit:Q")
    style = {"align": "left", "dx": 4, "color": INK, "fontSize": 12}
    return [
        last.mark_text(**style, dy=-7).encode(text=alt.value("limit")),
        last.mark_text(**style, dy=7).encode(text=alt.Text("limit:Q", format=",~g")),
    ]


def _time(frame: Frame) -> alt.X:
    first, last = (frame.local(moment) for moment in frame.span)
    room = (last - first) / 30
    start, end = _stamp(first - room), _stamp(last + room)
    axis = alt.Axis(tickCount=4, labelOverlap=True, grid=False, labelFlush=True)
    return alt.X("when:T", title=None, scale=alt.Scale(domain=[start, end]), axis=axis)


def _stamp(moment: datetime) -> dict[str, int]:
    return {"year": moment.year, "month": moment.month, "date": moment.day, "hours": moment.hour}


def _lines_at(moments: Sequence[datetime], x: alt.X, **style: Any) -> alt.Chart:
    return alt.Chart(pd.DataFrame({"when": list(moments)})).mark_rule(**style).encode(x=x)


def _date_line(x: alt.X) -> alt.Chart:
    one = alt.Chart(pd.DataFrame({"one": [1]})).transform_calculate(when=f"toDate({AS_AT})")
    return one.mark_rule(color=ACCENT, strokeWidth=2).encode(x=x)


def _marks(rows: pd.DataFrame, x: alt.X, unit: str) -> list[alt.Chart]:
    base, y = alt.Chart(rows).encode(x=x), alt.Y("figure:Q")
    words, colours, drawn = (list(each) for each in zip(*VERDICT_MARKS, strict=True))
    line = base.mark_line(color=SOFT, strokeWidth=1.25, opacity=0.7).encode(y=y, detail="life:N")
    points = base.mark_point(size=110, filled=True, stroke=SHEET, strokeWidth=1).encode(
        y=y,
        color=alt.Color("verdict:N", legend=None, scale=alt.Scale(domain=words, range=colours)),
        shape=alt.Shape("verdict:N", legend=None, scale=alt.Scale(domain=words, range=drawn)),
        opacity=alt.condition(IS_LATER, alt.value(0.35), alt.value(1)),
        tooltip=[
            alt.Tooltip("when:T", title="measured", format="%x, %X"),
            alt.Tooltip("figure:Q", title=unit or "figure"),
            alt.Tooltip("limit:Q", title="limit"),
            alt.Tooltip("verdict:N"),
        ],
    )
    has_interval = rows[["low", "high"]].notna().any(axis=None)
    spread = alt.Chart(interval_ends(rows)).mark_rule(strokeWidth=6, opacity=0.35, color=SOFT)
    spread = spread.encode(x=x, y=alt.Y("low:Q"), y2="high:Q")
    return [line, spread, points] if has_interval else [line, points]


def reading_chart(
    points: Sequence[Point], scale: Scale, fitted_at: Sequence[datetime], frame: Frame
) -> alt.LayerChart:
    """Give the chart of one quantity at one position over a bike's whole time in the book.

    The dashed line is the limit each reading was held to, its worn side shaded; thin lines mark
    a part fitted. The date looked at is a parameter, so that the same chart serves every date;
    see `looked_at`.
    """
    start, end = (frame.local(moment) for moment in frame.span)
    rows, x = chart_rows(points, fitted_at, frame), _time(frame)
    steps = limit_steps(rows, start, end)
    kept = alt.Scale(domain=figure_range(rows), nice=False, zero=False)
    y = alt.Y("limit:Q", title=scale.unit or None, scale=kept)
    fittings = [frame.local(moment) for moment in fitted_at]
    layers = [
        *([_lines_at(fittings, x, color=LINE, strokeWidth=2)] if fittings else []),
        *(_limit_layers(steps, x, y, scale) if len(steps) else []),
        *_marks(rows, x, scale.unit),
        _date_line(x),
    ]
    if not len(steps):
        layers[-2] = layers[-2].encode(y=alt.Y("figure:Q", title=scale.unit or None, scale=kept))
    date_looked_at = alt.param(name=AS_AT, value=end.isoformat())
    chart = alt.layer(*layers).properties(height=HEIGHT).add_params(date_looked_at)
    return chart.configure(**config(frame.locale))


def looked_at(drawn: Mapping[str, Any], as_at: datetime, frame: Frame) -> dict[str, Any]:
    """Give a drawn chart (as a dict) with the accent line at an instant, and what came later pale.

    Building a chart takes a hundred times as long as this, and a slider moves often.
    """
    value = frame.local(as_at).isoformat(timespec="seconds")
    return {**drawn, "params": [{"name": AS_AT, "value": value}]}
