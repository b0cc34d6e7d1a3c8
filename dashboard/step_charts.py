"""Steps by age with their bands: a few lines at once, told apart by dashes before colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd
from babel import Locale

from dashboard.chart_theme import ACCENT, INK, SOFT, drawn
from dashboard.markup import text
from dashboard.wear_charts import TALL
from ledger.figures.fault_estimates import CurvePoint

LINES = ((INK, [1, 0]), (ACCENT, [7, 3]), (SOFT, [2, 3]))
"""Colour and dashes of the first line, the second and the third; there are no more."""
MOST_LINES = len(LINES)
COLUMNS = ["line", "days", "value", "low", "high"]
Named = Sequence[tuple[str, Sequence[CurvePoint]]]


def step_rows(lines: Named) -> pd.DataFrame:
    """Give one row a step, each line from nought on, the lines by number."""
    rows: list[tuple[int, float, float, float, float]] = []
    for number, (_, points) in enumerate(lines[:MOST_LINES]):
        if points and points[0].days > 0:
            rows.append((number, 0.0, 0.0, 0.0, 0.0))
        rows += [(number, one.days, one.value, one.low, one.high) for one in points]
    return pd.DataFrame(rows, columns=COLUMNS)


def step_chart(
    rows: pd.DataFrame, figure: str, description: str, locale: Locale, *, is_share: bool = False
) -> dict[str, Any]:
    """Give lines of steps (see `step_rows`) by days, each with its band."""
    end, top = float(rows["days"].max()) or 1.0, float(rows["high"].max()) or 1.0
    axis = alt.Axis(tickCount=4, grid=False)
    x = alt.X("days:Q", title="days", axis=axis, scale=alt.Scale(domain=[0, end], nice=False))
    written = {"format": ".0%"} if is_share else {}
    scale = alt.Scale(domain=[0, min(top * 1.05, 1.0) if is_share else top * 1.05], nice=False)
    y = alt.Y("value:Q", title=figure, axis=alt.Axis(**written), scale=scale)
    layers = [layer for number in rows["line"].unique()
              for layer in _line(rows[rows["line"] == number], int(number), x, y)]  # fmt: skip
    chart = alt.layer(*layers).properties(height=TALL, description=description)
    return drawn(chart, locale)


def _line(rows: pd.DataFrame, number: int, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    colour, dashes = LINES[number]
    base = alt.Chart(rows).encode(x=x)
    band = base.mark_area(interpolate="step-after", color=colour, opacity=0.12, line=False)
    line = base.mark_line(interpolate="step-after", color=colour, strokeDash=dashes, strokeWidth=2)
    return [band.encode(y=alt.Y("low:Q"), y2="high:Q"), line.encode(y=y)]


def step_legend(lines: Named, said: str) -> str:
    """Give which line is which, and what its band is."""
    named = "".join(
        f'<span><i class="lk-line-{number}"></i>{text(name)}</span>'
        for number, (name, _) in enumerate(lines[:MOST_LINES])
    )
    return f'<p class="lk-legend">{named}<span>{text(said)}</span></p>'
