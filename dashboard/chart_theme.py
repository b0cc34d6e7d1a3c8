"""The chart theme: our inks and type, quiet axes, numbers and months in the book's locale."""

from __future__ import annotations

import re
from typing import Any

import altair as alt
from babel import Locale

ACCENT, INK, LINE, GROOVE, SHEET, SOFT = (
    f"var(--lk-{name})" for name in ("accent", "ink", "line", "groove", "sheet", "soft")
)
FONT = "Source Sans, sans-serif"
OCTAGON = "M-.4-1H.4L1-.4V.4L.4 1H-.4L-1 .4V-.4Z"
VERDICT_MARKS = (
    ("within limit", "var(--lk-within)", "circle"),
    ("watch", "var(--lk-watch)", "diamond"),
    ("due", "var(--lk-due)", "triangle-up"),
    ("unsafe", "var(--lk-unsafe)", OCTAGON),
    ("not checked", "var(--lk-unchecked)", "cross"),
    ("no limit known", "var(--lk-unchecked)", "M-1-.3H1V.3H-1Z"),
)
"""(verdict, colour, shape): the shapes that stand beside the words, as a chart draws them."""


DIRECTIVES = {
    "d": "%-d",
    "dd": "%d",
    "M": "%-m",
    "MM": "%m",
    "MMM": "%b",
    "MMMM": "%B",
    "y": "%Y",
    "yy": "%y",
    "yyyy": "%Y",
    "h": "%-I",
    "hh": "%I",
    "H": "%-H",
    "HH": "%H",
    "mm": "%M",
    "a": "%p",
}
"""Letters of a CLDR pattern in the directives of a chart's axis (D3's)."""


def _numbers(locale: Locale) -> dict[str, Any]:
    symbols = locale.number_symbols.get("latn", locale.number_symbols)
    return {
        "decimal": symbols["decimal"],
        "thousands": symbols["group"],
        "grouping": [3],
        "currency": ["", ""],
    }


def _directives(pattern: str) -> str:
    """Give a CLDR pattern, such as `d MMM y`, in the directives charts know: `%-d %b %Y`."""

    def known(found: re.Match[str]) -> str:
        quoted, letters = found.groups()
        return quoted if quoted is not None else DIRECTIVES.get(letters, letters)

    return re.sub(r"'([^']*)'|([A-Za-z]+)", known, pattern)


def _times(locale: Locale) -> dict[str, Any]:
    months, days = locale.months["format"], locale.days["format"]
    week = [6, 0, 1, 2, 3, 4, 5]
    return {
        "dateTime": "%x, %X",
        "date": _directives(locale.date_formats["medium"].pattern),
        "time": _directives(locale.time_formats["short"].pattern),
        "periods": ["AM", "PM"],
        "days": [days["wide"][day] for day in week],
        "shortDays": [days["abbreviated"][day] for day in week],
        "months": [months["wide"][month] for month in range(1, 13)],
        "shortMonths": [months["abbreviated"][month] for month in range(1, 13)],
    }


def config(locale: Locale) -> dict[str, Any]:
    """Give the settings every chart is drawn with."""
    axis = {
        "labelColor": SOFT,
        "domainColor": LINE,
        "tickColor": LINE,
        "gridColor": GROOVE,
        "labelFont": FONT,
        "labelFontSize": 12,
    }
    plain_title = {
        "titleColor": SOFT,
        "titleFont": FONT,
        "titleFontSize": 12,
        "titleFontWeight": "normal",
    }
    title = {
        **plain_title,
        "titleAngle": 0,
        "titleAlign": "left",
        "titleAnchor": "end",
        "titleY": -8,
        "titleX": -24,
    }
    return {
        "background": "transparent",
        "font": FONT,
        "padding": {"left": 2, "right": 38, "top": 6, "bottom": 2},
        "view": {"stroke": None},
        "axisX": {**axis, **plain_title},
        "axisY": {**axis, **title, "tickCount": 4, "domain": False, "ticks": False},
        "locale": {"number": _numbers(locale), "time": _times(locale)},
    }


def drawn(chart: alt.LayerChart, locale: Locale) -> dict[str, Any]:
    """Give a chart in our theme as a dict, ready to be shown."""
    return dict(chart.configure(**config(locale)).to_dict())
