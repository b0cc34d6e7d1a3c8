"""Charts of minutes against quote: the spread of ratios, and one job's steps to what it took.

Everything is drawn from figures already summed; what is told apart is told by shape or word
before colour.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import altair as alt
import pandas as pd
from babel import Locale

from dashboard.chart_theme import ACCENT, GROOVE, INK, LINE, SHEET, SOFT, drawn
from dashboard.fault_address import row_of
from dashboard.fault_charts import PICKED
from dashboard.labour_say import LabourSay, signed
from dashboard.markup import capital
from dashboard.wear_charts import TALL
from ledger.figures.labour_shapes import LabourBy, LabourRow, WaterfallStep

ROW_STEP, ABOVE, MIDDLE, AXIS_ROOM = 44, 10, 9, 52
"""Pixels a row takes, how far its words stand above and its marks below its middle, and what the
axis takes of a chart's height."""
STEP_HEIGHT = 40
FURTHEST = 4.0
"""Times the quote the axis goes to at most; what is further ends at its edge."""
SPREAD = ["row", "label", "said", "tenth_low", "quarter_low", "median", "quarter_high",
          "tenth_high", "is_few", "is_chosen", "short"]  # fmt: skip


# -- ratios -----------------------------------------------------------------------------------


def spread_rows(
    rows: Iterable[LabourRow], by: LabourBy, chosen: str, say: LabourSay
) -> pd.DataFrame:
    """Give one row of the chart for each that has a ratio; too few to judge have no spread."""
    made = [_spread_row(row, by, chosen, say) for row in rows if row.ratio.median is not None]
    return pd.DataFrame(made, columns=SPREAD)


def _spread_row(row: LabourRow, by: LabourBy, chosen: str, say: LabourSay) -> tuple[Any, ...]:
    ratio, key = row.ratio, row_of(row.key)
    ends = (ratio.tenth_low, ratio.quarter_low, ratio.median, ratio.quarter_high, ratio.tenth_high)
    said = f"half over {say.times(ratio.median)}"
    if ratio.is_too_few:
        said = f"{say.count(ratio.count, 'job')}: too few to judge"
        ends = (None, None, ratio.median, None, None)
    short = say.short_month(row.key) if by == "month" and row.key else ""
    return key, capital(row.label), said, *ends, ratio.is_too_few, key == chosen, short


def spread_chart(rows: pd.DataFrame, description: str, locale: Locale) -> dict[str, Any]:
    """Give medians on their quartiles and tenths about the line at 1; a press picks a row."""
    y = alt.Y("row:N", sort=list(rows["row"]), axis=None)
    x = alt.X("tenth_low:Q", title="times the quote", scale=_ratio_scale(rows),
              axis=alt.Axis(tickCount=5, domain=False, ticks=False))  # fmt: skip
    base = alt.Chart(rows).encode(y=y)
    chosen = base.transform_filter("datum.is_chosen").mark_rect(color=GROOVE, opacity=1)
    layers = [chosen, _quoted_line(x), *_spreads(base, x), *row_words(base), _pressed(base)]
    height = ROW_STEP * len(rows) + AXIS_ROOM
    return drawn(alt.layer(*layers).properties(height=height, description=description), locale)


def _ratio_scale(rows: pd.DataFrame) -> alt.Scale:
    figures = rows[["tenth_low", "median", "tenth_high"]].astype(float)
    low, high = min(0.6, float(figures.min().min())), max(1.5, float(figures.max().max()))
    return alt.Scale(domain=[low, min(high, FURTHEST)], nice=False, zero=False, clamp=True)


def _quoted_line(x: alt.X) -> alt.Chart:
    one = alt.Chart(pd.DataFrame([{"tenth_low": 1.0}]))
    return one.mark_rule(color=INK, strokeWidth=1.4, strokeDash=[5, 3]).encode(x=x)


def _spreads(base: alt.Chart, x: alt.X) -> list[alt.Chart]:
    tenths = base.mark_rule(color=ACCENT, strokeWidth=2, opacity=0.55, yOffset=MIDDLE)
    quarters = base.mark_rule(color=ACCENT, strokeWidth=9, opacity=0.45, yOffset=MIDDLE)
    return [
        tenths.encode(x=x, x2="tenth_high:Q"),
        quarters.encode(x="quarter_low:Q", x2="quarter_high:Q"),
        *(dots.encode(x="median:Q") for dots in _dots(base, MIDDLE)),
    ]


def _dots(base: alt.Chart, below: float) -> list[alt.Chart]:
    """Give medians as dots, hollow where there are too few to judge."""
    style = {"size": 95, "opacity": 1, "yOffset": below}
    told, few = base.transform_filter("!datum.is_few"), base.transform_filter("datum.is_few")
    return [
        told.mark_point(**style, filled=True, color=ACCENT, stroke=SHEET),
        few.mark_point(**style, fill=SHEET, stroke=ACCENT, strokeDash=[2, 2]),
    ]


def row_words(base: alt.Chart, soft: str = SOFT) -> list[alt.Chart]:
    """Give a row's label (`label`) to the left above its marks, and its figure (`said`) right.

    Lines of the chart that run through a figure do not touch it.
    """
    style: dict[str, Any] = {"fontSize": 13, "baseline": "middle", "dy": -ABOVE}
    label = base.mark_text(**style, color=INK, align="left", dx=2, limit=230)
    figure: dict[str, Any] = {**style, "align": "right", "dx": -2}
    around = base.mark_text(**figure, color=SHEET, stroke=SHEET, strokeWidth=9, strokeJoin="round")
    said = base.mark_text(**figure, color=soft)
    right = {"x": alt.value("width"), "text": "said:N"}
    return [
        label.encode(x=alt.value(0), text="label:N"),
        around.encode(**right),
        said.encode(**right),
    ]


def _pressed(base: alt.Chart) -> alt.Chart:
    """Give what lies unseen over each row, so that a press anywhere on it picks it."""
    pick = alt.selection_point(name=PICKED, fields=["row"], toggle=False)
    over = base.mark_rect(color=GROOVE, opacity=0, cursor="pointer")
    return over.encode(tooltip=_spread_tips()).add_params(pick)


def _spread_tips() -> list[alt.Tooltip]:
    named = {
        "tenth_low": "one in ten below",
        "quarter_low": "one in four below",
        "median": "half below",
        "quarter_high": "one in four above",
        "tenth_high": "one in ten above",
    }
    told = [alt.Tooltip(f"{name}:Q", title=said, format=".2f") for name, said in named.items()]
    return [alt.Tooltip("label:N", title="show the jobs of"), *told]


def month_chart(rows: pd.DataFrame, description: str, locale: Locale) -> dict[str, Any]:
    """Give the same by month, from left to right: bands of quartiles and tenths, and a line."""
    order = list(rows["row"])
    x = alt.X("row:N", sort=order, title=None, scale=alt.Scale(padding=0.5, domain=order),
              axis=month_axis(order, rows["short"]))  # fmt: skip
    y = alt.Y("median:Q", title="times the quote", scale=_ratio_scale(rows))
    base = alt.Chart(rows).encode(x=x)
    band = base.mark_area(color=ACCENT, line=False, interpolate="monotone")
    line = base.mark_line(color=ACCENT, strokeWidth=2, interpolate="monotone")
    one = alt.Chart(pd.DataFrame([{"one": 1.0}])).mark_rule(
        color=INK, strokeWidth=1.4, strokeDash=[5, 3]
    )
    layers = [
        base.transform_filter("datum.is_chosen").mark_rule(color=LINE, strokeWidth=22),
        band.encode(y=alt.Y("tenth_low:Q"), y2="tenth_high:Q", opacity=alt.value(0.13)),
        band.encode(y=alt.Y("quarter_low:Q"), y2="quarter_high:Q", opacity=alt.value(0.28)),
        one.encode(y="one:Q"),
        line.encode(y=y),
        *(dots.encode(y=y) for dots in _dots(base, 0)),
        _pressed_month(base),
    ]  # fmt: skip
    return drawn(alt.layer(*layers).properties(height=TALL, description=description), locale)


def month_axis(months: Iterable[str], labels: Iterable[str]) -> alt.Axis:
    """Give an axis of months under their short names, as many as there is room for."""
    named = ", ".join(
        f"'{month}': {label.split(' ')}" for month, label in zip(months, labels, strict=True)
    )
    return alt.Axis(labelAngle=0, labelOverlap="greedy", labelExpr=f"{{{named}}}[datum.value]",
                    ticks=False)  # fmt: skip


def _pressed_month(base: alt.Chart) -> alt.Chart:
    pick = alt.selection_point(name=PICKED, fields=["row"], toggle=False)
    over = base.mark_rule(strokeWidth=26, opacity=0, cursor="pointer")
    return over.encode(tooltip=_spread_tips()).add_params(pick)


# -- one job, step by step --------------------------------------------------------------------


def step_rows(steps: Sequence[WaterfallStep], say: LabourSay, *, is_money: bool) -> pd.DataFrame:
    """Give one row a step: where its bar lies, and its words."""
    made = []
    for place, step in enumerate(steps):
        is_whole = step.kind in ("start", "end")
        size = say.money(abs(step.change)) if is_money else say.minutes(abs(step.change))
        said = size if is_whole else signed(size, step.change)
        scale = 10**say.settings.minor_digits if is_money else 1
        made.append((place, capital(step.label), said, step.note, step.start / scale,
                     step.stop / scale, is_whole, step.change < 0))  # fmt: skip
    columns = ["place", "label", "said", "note", "start", "stop", "is_whole", "is_less"]
    return pd.DataFrame(made, columns=columns)


def step_chart(rows: pd.DataFrame, unit: str, description: str, locale: Locale) -> dict[str, Any]:
    """Give bars from one whole to the other, each beginning where the one above it ends."""
    rows = rows.assign(top=rows["place"] + 0.5, foot=rows["place"] + 0.86,
                       next=rows["place"] + 1.5, words=rows["place"] + 0.26)  # fmt: skip
    ends = rows[["start", "stop"]].to_numpy()
    low, high = min(0.0, float(ends.min())), max(float(ends.max()), 1.0)
    x = alt.X("start:Q", title=unit, scale=alt.Scale(domain=[low, high], nice=False),
              axis=alt.Axis(tickCount=4, domain=False, ticks=False))  # fmt: skip
    base, count = alt.Chart(rows), len(rows)
    layers = [_joins(base, count), *_step_bars(base, x, count), *_step_words(base, count)]
    height = STEP_HEIGHT * count + AXIS_ROOM
    return drawn(alt.layer(*layers).properties(height=height, description=description), locale)


def _down(field: str, count: int) -> alt.Y:
    """Give how far down something stands, of so many steps; every layer has to say so alike."""
    return alt.Y(f"{field}:Q", axis=None, scale=alt.Scale(domain=[count, 0], nice=False))


def _joins(base: alt.Chart, count: int) -> alt.Chart:
    between = base.transform_filter(f"datum.place < {count - 1}")
    rule = between.mark_rule(color=SOFT, strokeWidth=1)
    return rule.encode(y=_down("foot", count), y2="next:Q", x="stop:Q")


def _step_bars(base: alt.Chart, x: alt.X, count: int) -> list[alt.Chart]:
    """Give wholes in ink, what came on top filled, and what fell away as an outline."""
    tips = [alt.Tooltip("label:N"), alt.Tooltip("said:N", title="change"), alt.Tooltip("note:N")]
    kinds = (
        ("datum.is_whole", {"color": INK}),
        ("!datum.is_whole && !datum.is_less", {"color": ACCENT}),
        ("!datum.is_whole && datum.is_less",
         {"fill": SHEET, "stroke": ACCENT, "strokeWidth": 1.6, "strokeDash": [3, 2]}),
    )  # fmt: skip
    return [
        base.transform_filter(which).mark_rect(**style).encode(
            x=x, x2="stop:Q", y=_down("top", count), y2="foot:Q", tooltip=tips
        )
        for which, style in kinds
    ]  # fmt: skip


def _step_words(base: alt.Chart, count: int) -> list[alt.Chart]:
    style = {"fontSize": 13, "baseline": "middle", "color": INK}
    words = base.encode(y=_down("words", count))
    return [
        words.mark_text(**style, align="left", dx=2, limit=230).encode(
            x=alt.value(0), text="label:N"
        ),
        words.mark_text(**style, align="right", dx=-2).encode(
            x=alt.value("width"), text="said:N"
        ),
    ]  # fmt: skip
