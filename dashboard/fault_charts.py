"""Charts of faults that come back: the Pareto, a funnel, part models' rates, differences in risk.

Each is drawn from plain rows; what is told apart is told by word or shape before colour.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import altair as alt
import pandas as pd
from babel import Locale

from dashboard.chart_theme import ACCENT, GROOVE, INK, LINE, SHEET, SOFT, drawn
from dashboard.dot_charts import AXIS_HEIGHT, COLUMNS, ROW_HEIGHT, dot_chart
from dashboard.fault_address import row_of
from dashboard.fault_say import figure_of, model_name
from dashboard.markup import capital
from dashboard.wear_charts import TALL
from ledger.figures.fault_estimates import FaultFunnel, ModelRate, PreventionRow
from ledger.figures.fault_shapes import Measure, ParetoRow
from ledger.figures.fault_words import FaultWords

PICKED = "bars"
"""The chart's own name for the bar somebody picked."""
BAR_STEP, BAR_HEIGHT, ABOVE, AROUND = 44, 13, 9, 20
"""Pixels a row takes, its bar's thickness, how far label and bar stand from its middle, and what
the server takes of a chart's height for what lies around it."""
LONGEST_LABEL = 240
ROOM = 1.32
"""How far the axis goes past the longest bar, for the figure at its end."""
MARKED = {"more than chance": "triangle-up", "fewer than chance": "triangle-down", None: "circle"}


# -- the Pareto -------------------------------------------------------------------------------


def pareto_rows(
    rows: Iterable[ParetoRow], measure: Measure, chosen: str, words: FaultWords
) -> pd.DataFrame:
    """Give one row a bar: its name in the address, label, figure, and share so far."""
    made = [
        (row_of(row.key), capital(row.label), row.measured, figure_of(row, measure, words),
         f"{100 * row.cumulative_share:.0f}\u00a0%", row_of(row.key) == chosen)
        for row in rows
    ]  # fmt: skip
    return pd.DataFrame(made, columns=["row", "label", "figure", "said", "so_far", "is_chosen"])


def pareto_chart(rows: pd.DataFrame, description: str, locale: Locale) -> dict[str, Any]:
    """Give bars with their names above them; a click anywhere on a row picks it (PICKED)."""
    domain = [0, float(rows["figure"].max()) * ROOM]
    y = alt.Y("row:N", sort=list(rows["row"]), axis=None)
    x = alt.X("figure:Q", axis=None, scale=alt.Scale(domain=domain, nice=False))
    base = alt.Chart(rows).encode(y=y)
    chosen = base.transform_filter("datum.is_chosen").mark_rect(color=GROOVE, opacity=1)
    bars = base.mark_bar(color=ACCENT, height=BAR_HEIGHT, yOffset=ABOVE).encode(x=x)
    layers = [chosen, bars, *_bar_words(base, x), _pressed(base)]
    height = BAR_STEP * len(rows) + AROUND
    chart = alt.layer(*layers).properties(height=height, description=description)
    return drawn(chart, locale)


def _bar_words(base: alt.Chart, x: alt.X) -> list[alt.Chart]:
    """Give label and share above a bar, and its figure at its end."""
    style = {"fontSize": 13, "baseline": "middle", "color": INK}
    label = base.mark_text(**style, align="left", dx=2, dy=-ABOVE, limit=LONGEST_LABEL)
    share = base.mark_text(**{**style, "color": SOFT}, align="right", dx=-2, dy=-ABOVE)
    figure = base.mark_text(**style, align="left", dx=5, dy=ABOVE)
    return [
        label.encode(x=alt.value(0), text="label:N"),
        share.encode(x=alt.value("width"), text="so_far:N"),
        figure.encode(x=x, text="said:N"),
    ]


def _pressed(base: alt.Chart) -> alt.Chart:
    """Give what lies over each whole row unseen, so that a press anywhere on it picks it."""
    pick = alt.selection_point(name=PICKED, fields=["row"], toggle=False)
    tips = [
        alt.Tooltip("label:N", title="show the bikes of"),
        alt.Tooltip("said:N", title="figure"),
        alt.Tooltip("so_far:N", title="of all, with those above"),
    ]
    rows = base.mark_rect(color=GROOVE, opacity=0, cursor="pointer").encode(tooltip=tips)
    return rows.add_params(pick)


# -- a funnel ---------------------------------------------------------------------------------


def funnel_rows(found: FaultFunnel, name: Callable[[str | None], str]) -> pd.DataFrame:
    """Give one row a unit: how many repairs it is worth, its rate, and whether it is marked."""
    made = [
        (name(one.key), one.size, one.adjusted_rate, one.low_rate, one.high_rate,
         one.count_repairs, one.count_come_back, MARKED[one.mark])
        for one in found.units
    ]  # fmt: skip
    columns = ["label", "size", "rate", "low", "high", "repairs", "back", "shape"]
    return pd.DataFrame(made, columns=columns)


def funnel_chart(
    found: FaultFunnel, rows: pd.DataFrame, description: str, locale: Locale
) -> dict[str, Any]:
    """Give units by repairs and rate, inside or outside what chance alone allows."""
    guide = pd.DataFrame(
        [(one.size, one.low_rate, one.high_rate) for one in found.guide],
        columns=["size", "low", "high"],
    )
    right = 1.12 * max(float(rows["size"].max()), 1.0)
    tops = [*rows["rate"], found.pooled_rate, *guide.loc[guide["size"] > right / 25, "high"]]
    top = min(1.0, 1.1 * float(max(tops)) or 1.0)
    across = alt.Axis(grid=False, tickCount=5)
    x = alt.X("size:Q", title="repairs, counted as fully followed", axis=across,
              scale=alt.Scale(domain=[0, right], nice=False))  # fmt: skip
    y = alt.Y("rate:Q", title="came back", axis=alt.Axis(format=".0%", tickCount=4),
              scale=alt.Scale(domain=[0, top], nice=False))  # fmt: skip
    layers = [*_guide(guide, x), _pooled(found.pooled_rate, y), *_units(rows, x, y)]
    chart = alt.layer(*layers).properties(height=TALL, description=description)
    return drawn(chart, locale)


def _guide(guide: pd.DataFrame, x: alt.X) -> list[alt.Chart]:
    if guide.empty:
        return []
    base = alt.Chart(guide).encode(x=x)
    area = base.mark_area(color=ACCENT, opacity=0.12, line=False, clip=True)
    edge = base.mark_line(color=ACCENT, strokeDash=[5, 3], strokeWidth=1.2, clip=True)
    return [
        area.encode(y="low:Q", y2="high:Q"),
        edge.encode(y="low:Q"),
        edge.encode(y="high:Q"),
    ]


def _pooled(rate: float, y: alt.Y) -> alt.Chart:
    one = alt.Chart(pd.DataFrame([{"rate": rate}]))
    return one.mark_rule(color=INK, strokeWidth=1.2).encode(y=y)


def _units(rows: pd.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    base = alt.Chart(rows).encode(x=x, y=y)
    shape = alt.Shape("shape:N", scale=None, legend=None)
    tips = [
        alt.Tooltip("label:N", title="who"),
        alt.Tooltip("repairs:Q"),
        alt.Tooltip("back:Q", title="came back"),
        alt.Tooltip("rate:Q", title="rate with the usual mix", format=".1%"),
    ]
    marks = base.mark_point(size=110, filled=True, color=INK, stroke=SHEET, opacity=1)
    named = base.mark_text(color=INK, fontSize=12, dy=-12, baseline="bottom")
    return [marks.encode(shape=shape, tooltip=tips), named.encode(text="label:N")]


# -- part models ------------------------------------------------------------------------------


def rate_rows(rates: Sequence[ModelRate], words: FaultWords) -> pd.DataFrame:
    """Give one row a model: its rate drawn towards its sort's, with 95 %, and as counted."""
    made = [
        (f"{model_name(one)} ({words.figure(one.count)})", "model", one.rate.low, one.rate.value,
         one.rate.high, one.count, one.counted_rate)
        for one in rates
    ]  # fmt: skip
    return pd.DataFrame(made, columns=[*COLUMNS, "raw"])


def rate_chart(
    rows: pd.DataFrame, title: str, description: str, locale: Locale, *, is_share: bool
) -> dict[str, Any]:
    """Give models' rates as dots with intervals, and beside each how it was counted."""
    top = max(float(rows["high"].max()), float(rows["raw"].max(skipna=True) or 0.0)) * 1.04 or 1.0
    return dot_chart(
        rows, title, description, locale, figures=".0%" if is_share else ".2~r",
        top=min(top, 1.0) if is_share else top,
        ends=("one in 40 below", "one in 40 above"),
    )  # fmt: skip


# -- prevention -------------------------------------------------------------------------------


def difference_rows(rows: Iterable[PreventionRow], words: FaultWords) -> pd.DataFrame:
    """Give one row a position: the difference in risk with its 80 and 95 % intervals."""
    made = [
        (capital(words.place(one.position)), one.difference.value, one.difference.low,
         one.difference.high, one.difference_80.low, one.difference_80.high)
        for one in rows
        if one.difference and one.difference_80
    ]  # fmt: skip
    return pd.DataFrame(made, columns=["label", "middle", "low", "high", "low_80", "high_80"])


def difference_chart(rows: pd.DataFrame, description: str, locale: Locale) -> dict[str, Any]:
    """Give differences in risk by position about nought: left of it is less trouble."""
    reach = 1.05 * float(rows[["low", "high"]].abs().to_numpy().max()) or 1.0
    axis = alt.Axis(format="+.0%", tickCount=5, domain=False, ticks=False)
    x = alt.X("low:Q", title="trouble with it, less trouble without it", axis=axis,
              scale=alt.Scale(domain=[-reach, reach], nice=False))  # fmt: skip
    names = alt.Axis(labelLimit=150, labelPadding=8, labelColor=INK, grid=False)
    base = alt.Chart(rows).encode(y=alt.Y("label:N", title=None, sort=None, axis=names))
    tips = [alt.Tooltip(f"{name}:Q", format="+.0%") for name in ("middle", "low", "high")]
    nought = alt.Chart(pd.DataFrame([{"low": 0.0}])).mark_rule(color=SOFT, strokeDash=[4, 3])
    layers = [
        nought.encode(x=x),
        base.mark_rule(strokeWidth=2, color=LINE).encode(x=x, x2="high:Q"),
        base.mark_rule(strokeWidth=4, color=ACCENT, opacity=0.45).encode(
            x="low_80:Q", x2="high_80:Q"
        ),
        base.mark_point(size=90, filled=True, color=ACCENT, stroke=SHEET, opacity=1).encode(
            x="middle:Q", tooltip=tips
        ),
    ]  # fmt: skip
    height = (ROW_HEIGHT + 6) * len(rows) + AXIS_HEIGHT
    return drawn(alt.layer(*layers).properties(height=height, description=description), locale)
