"""Dots on lines: figures with their intervals, row by row, in groups set apart."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import altair as alt
import pandas as pd
from babel import Locale

from dashboard.chart_theme import ACCENT, INK, SHEET, drawn

ROW_HEIGHT, AXIS_HEIGHT = 21, 48
COLUMNS = ["label", "factor", "low", "middle", "high", "parts"]
"""What a row has: its name, its group, the figure with its interval, and how many it is from.

A further column `raw` is what was counted, before it was drawn towards others: a hollow mark.
"""
ENDS = ("one in ten below", "one in ten above")
"""What the ends of an interval of 80 % are called."""


def dot_chart(
    rows: pd.DataFrame,
    title: str,
    description: str,
    locale: Locale,
    figures: str = ".2~r",
    top: float | None = None,
    ends: tuple[str, str] = ENDS,
) -> dict[str, Any]:
    """Give rows (label, factor, low, middle, high, parts) as dots on lines, factor by factor.

    Rows of the factor `all` are drawn apart in ink; the axis goes from 0 to `top`, or holds all.
    `ends` names the ends of the interval.
    """
    rows = rows.assign(label=_told_apart(rows["label"]))
    order = _spaced(rows)
    end = float(rows["high"].max()) * 1.04 if top is None else top
    base = alt.Chart(rows).encode(y=_names(order))
    is_whole = alt.condition("datum.factor == 'all'", alt.value(INK), alt.value(ACCENT))
    spread = base.mark_rule(strokeWidth=3, opacity=0.45)
    spread = spread.encode(x=_figures(title, end, figures), x2="high:Q", color=is_whole)
    dots = base.mark_point(size=90, filled=True, stroke=SHEET, strokeWidth=1, opacity=1)
    dots = dots.encode(x="middle:Q", color=is_whole, tooltip=_tips(figures, ends))
    height = ROW_HEIGHT * len(order) + AXIS_HEIGHT
    layers = [spread, dots, *([_raw(base)] if "raw" in rows else [])]
    return drawn(alt.layer(*layers).properties(height=height, description=description), locale)


def _raw(base: alt.Chart) -> alt.Chart:
    """Give what was counted as hollow marks."""
    seen = base.transform_filter("isValid(datum.raw)")
    return seen.mark_point(size=70, shape="diamond", color=INK, opacity=1).encode(x="raw:Q")


def _names(order: list[str]) -> alt.Y:
    axis = alt.Axis(labelLimit=190, labelPadding=8, labelColor=INK, grid=False)
    return alt.Y("label:N", title=None, sort=order, scale=alt.Scale(domain=order), axis=axis)


def _figures(title: str, end: float, figures: str) -> alt.X:
    # an axis picks its own digits, except where the figures are percent
    written = {"format": figures} if figures.endswith("%") else {}
    axis = alt.Axis(tickCount=4, domain=False, ticks=False, **written)
    return alt.X("low:Q", title=title, axis=axis, scale=alt.Scale(domain=[0, end], nice=False))


def _tips(figures: str, ends: tuple[str, str]) -> list[alt.Tooltip]:
    return [
        alt.Tooltip("label:N", title="(how many)"),
        alt.Tooltip("middle:Q", title="figure", format=figures),
        alt.Tooltip("low:Q", title=ends[0], format=figures),
        alt.Tooltip("high:Q", title=ends[1], format=figures),
    ]


def _told_apart(labels: Iterable[str]) -> list[str]:
    """Give labels that differ, so that rows of one name do not fall together; none looks other."""
    seen: dict[str, int] = {}
    made = []
    for label in labels:
        seen[label] = seen.get(label, 0) + 1
        made.append(label + "\u200b" * (seen[label] - 1))
    return made


def _spaced(rows: pd.DataFrame) -> list[str]:
    """Give the labels in order, a blank one between one factor and the next."""
    order: list[str] = []
    for number, (_, of) in enumerate(rows.groupby("factor", sort=False)):
        order += [" " * number] if number else []
        order += list(dict.fromkeys(of["label"]))
    return order
