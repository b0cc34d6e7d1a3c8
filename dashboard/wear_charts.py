"""Charts of wear: usual rates, and one part's line against its limit.

Every figure drawn is finite; what cannot be foretold is left out of the picture and said in words.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import altair as alt
import pandas as pd
from babel import Locale

from dashboard.chart_theme import ACCENT, INK, SHEET, SOFT, drawn
from dashboard.charts import SHADE_OPACITY
from dashboard.dot_charts import COLUMNS, dot_chart
from dashboard.wear_words import per
from dashboard.words import Words
from ledger.figures.wear import BandPoint, PartWear, RateFigure

SPREAD_80 = 1.2816
"""Standard deviations either side of the middle that hold 80 % of a normal error."""
TALL = 300
FACTORS = ("all", "riding", "position", "model")
"""What rates are shown by, in this order."""
BAND_OPACITY = 0.16
NOT_NAMED = "not named"
"""What the gauges that nobody noted are called together."""


def _finite(*figures: float | None) -> bool:
    return all(figure is not None and math.isfinite(figure) for figure in figures)


def rate_rows(rates: Iterable[RateFigure], words: Words) -> pd.DataFrame:
    """Give one row a level of the factors shown, fastest first, with its spread.

    A factor of one level is left out: it says what the whole says.
    """
    named = {"riding": words.riding, "position": words.position, "all": lambda _: "all"}
    rows: list[dict[str, Any]] = []
    told = [one for one in rates if _finite(one.rate.low, one.rate.middle, one.rate.high)]
    for factor in FACTORS:
        of = [one for one in told if one.factor == factor]
        if factor != "all" and len(of) < 2:
            continue
        for one in sorted(of, key=lambda each: -(each.rate.middle or 0.0)):
            name = named.get(factor, str)(one.level)
            label = f"{name} ({words.formats.number(one.count_series)})"
            rows.append({"label": label, "factor": factor, "low": one.rate.low,
                         "middle": one.rate.middle, "high": one.rate.high,
                         "parts": one.count_series})  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def rate_chart(
    rates: Sequence[RateFigure], unit: str, description: str, words: Words
) -> dict[str, Any]:
    """Give usual rates as dots, each with the line in which eight of ten such parts lie."""
    title = per(rates[0].exposure_unit, unit)
    return dot_chart(rate_rows(rates, words), title, description, words.formats.locale)


def reading_rows(part: PartWear, errors: Mapping[str, float]) -> pd.DataFrame:
    """Give one row a reading: where, the figure, and what its gauge's error (80 %) leaves open.

    An interval reading has no figure; an open end of it is None.
    """
    rows = []
    for one in part.readings:
        error = SPREAD_80 * errors.get(one.gauge or NOT_NAMED, 0.0)
        low = one.low if one.value is None else one.value - error
        high = one.high if one.value is None else one.value + error
        kind, gauge = _kind(one.value is not None, one.flag), one.gauge or NOT_NAMED
        rows.append((one.exposure, one.value, low, high, kind, gauge))
    return pd.DataFrame(rows, columns=["at", "figure", "low", "high", "kind", "gauge"])


def _kind(is_figure: bool, flag: str | None) -> str:
    if flag:
        return "left out"
    return "reading" if is_figure else "between two marks"


def band_rows(band: Sequence[BandPoint], floor: float | None) -> pd.DataFrame:
    """Give the fitted line with its band, never below `floor`, finite points alone."""
    least = -math.inf if floor is None else floor
    rows = [
        {"at": p.exposure, "low": max(p.low, least), "middle": max(p.middle, least),
         "high": max(p.high, least)}
        for p in band
        if _finite(p.exposure, p.low, p.middle, p.high)
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["at", "low", "middle", "high"])


def due_rows(part: PartWear, edge: float) -> pd.DataFrame:
    """Give the stretch of use in which the limit is reached (80 %), as far as the picture's edge.

    No row where that is past already, or not foretold.
    """
    way, now, limit = part.due_in, part.exposure_now, part.limit
    if way is None or now is None or limit is None or (not way.high and way.high is not None):
        return pd.DataFrame(columns=["from", "to", "limit"])
    start = now + (way.low or 0.0) if way.low is not None else edge
    end = edge if way.high is None else min(now + way.high, edge)
    is_shown = start < end
    rows = [{"from": start, "to": end, "limit": limit}] if is_shown else []
    return pd.DataFrame(rows, columns=["from", "to", "limit"])


def _figures_shown(part: PartWear, *tables: pd.DataFrame) -> list[float]:
    """Give the lowest and highest figure to show, with room around."""
    seen = [float(one) for table in tables for name in ("low", "figure", "middle", "high")
            if name in table for one in table[name].dropna()]  # fmt: skip
    seen += [part.limit] if part.limit is not None else []
    open_ends = _open_ends(part)
    low, high = min([*seen, *([0.0] if open_ends[0] and part.direction > 0 else [])]), max(seen)
    high += (high - low) * 0.25 if open_ends[1] else 0.0
    room = (high - low) * 0.1 or abs(high) * 0.25 or 1.0
    return [max(low - room, 0.0) if low >= 0 else low - room, high + room]


def _open_ends(part: PartWear) -> tuple[bool, bool]:
    """Say whether a go/no-go left what was read open downwards, and upwards: room shows that."""
    marks = [one for one in part.readings if one.value is None]
    return any(one.low is None for one in marks), any(one.high is None for one in marks)


def edge_of(part: PartWear, band: pd.DataFrame) -> float:
    """Give how far along its use a part's picture goes."""
    ends = [one.exposure for one in part.readings] + [part.exposure_now or 0.0]
    return float(max([*ends, *band["at"], 1e-6]))


def part_chart(
    part: PartWear,
    band: Sequence[BandPoint],
    errors: Mapping[str, float],
    description: str,
    locale: Locale,
) -> dict[str, Any]:
    """Give a part's readings with its line and band, the limit, its use by now and when it is due.

    The worn side of the limit is shaded; the thick stretch on the limit is where it is reached.
    """
    floor = 0.0 if part.direction < 0 else None
    line, rows = band_rows(band, floor), reading_rows(part, errors)
    edge = edge_of(part, line)
    shown = _figures_shown(part, line, rows)
    unit = "km since first seen" if part.exposure_unit == "km" else "days since first seen"
    unit = unit.replace("first seen", "fitted") if part.is_from_new else unit
    axis = alt.Axis(tickCount=5, grid=False)
    x = alt.X("at:Q", title=unit, axis=axis, scale=alt.Scale(domain=[0, edge * 1.02], nice=False))
    y = alt.Y("figure:Q", title=part.unit, scale=alt.Scale(domain=shown, nice=False, zero=False))
    layers = [
        *_limit(part, edge * 1.02, x, y, shown),
        *_line(line, x, y),
        *_due(due_rows(part, edge)),
        *_now(part),
        *_readings(rows, x, y, shown),
    ]
    chart = alt.layer(*layers).properties(height=TALL, description=description)
    return drawn(chart, locale)


def _limit(part: PartWear, edge: float, x: alt.X, y: alt.Y, shown: list[float]) -> list[alt.Chart]:
    if part.limit is None:
        return []
    rows = pd.DataFrame([{"at": 0.0, "figure": part.limit}, {"at": edge, "figure": part.limit}])
    worn = shown[1] if part.direction > 0 else shown[0]
    base = alt.Chart(rows).encode(x=x, y=y)
    named = alt.Chart(rows.iloc[[1]]).encode(x=alt.value("width"), y="figure:Q")
    style = {"align": "left", "dx": 4, "color": INK, "fontSize": 12}
    return [
        base.mark_area(color=INK, opacity=SHADE_OPACITY, line=False).encode(y2=alt.datum(worn)),
        base.mark_line(color=INK, strokeDash=[5, 3], strokeWidth=1.5),
        named.mark_text(**style, dy=-7).encode(text=alt.value("limit")),
        named.mark_text(**style, dy=7).encode(text=alt.Text("figure:Q", format=",~g")),
    ]


def _line(line: pd.DataFrame, x: alt.X, y: alt.Y) -> list[alt.Chart]:
    if line.empty:
        return []
    base = alt.Chart(line).encode(x=x)
    area = base.mark_area(color=ACCENT, opacity=BAND_OPACITY, line=False, clip=True)
    middle = base.mark_line(color=ACCENT, strokeWidth=2, clip=True)
    return [area.encode(y=alt.Y("low:Q"), y2="high:Q"), middle.encode(y="middle:Q")]


def _due(rows: pd.DataFrame) -> list[alt.Chart]:
    if rows.empty:
        return []
    mark = alt.Chart(rows).mark_rule(color=ACCENT, strokeWidth=7, opacity=0.75)
    return [mark.encode(x="from:Q", x2="to:Q", y="limit:Q")]


def _now(part: PartWear) -> list[alt.Chart]:
    if part.exposure_now is None or not math.isfinite(part.exposure_now):
        return []
    one = alt.Chart(pd.DataFrame([{"at": part.exposure_now}])).encode(x="at:Q")
    name = "now" if part.is_fitted else "taken off"
    words = one.mark_text(color=ACCENT, fontSize=12, align="right", dx=-5, baseline="top")
    words = words.encode(y=alt.value(2), text=alt.value(name))
    return [one.mark_rule(color=ACCENT, strokeWidth=1.5, strokeDash=[1, 3]), words]


def _readings(rows: pd.DataFrame, x: alt.X, y: alt.Y, shown: list[float]) -> list[alt.Chart]:
    ends = rows.assign(low=rows["low"].astype(float).fillna(shown[0]),
                       high=rows["high"].astype(float).fillna(shown[1]))  # fmt: skip
    middle = rows["figure"].astype(float).fillna((ends["low"] + ends["high"]) / 2)
    ends = ends.assign(figure=middle)
    kinds = alt.Scale(
        domain=["reading", "between two marks", "left out"], range=["circle", "stroke", "cross"]
    )
    base = alt.Chart(ends).encode(x=x)
    wide = base.transform_filter("datum.kind == 'between two marks'")
    spans = wide.mark_rule(strokeWidth=7, opacity=0.4, color=SOFT)
    errors = base.transform_filter("datum.kind != 'between two marks'")
    errors = errors.mark_rule(strokeWidth=2, color=INK, opacity=0.7)
    points = base.mark_point(size=100, filled=True, color=INK, stroke=SHEET, strokeWidth=1)
    tips = [
        alt.Tooltip("at:Q", title=str(x.to_dict().get("title") or ""), format=",.0f"),
        alt.Tooltip("figure:Q", title="figure", format=".3~r"),
        alt.Tooltip("kind:N", title="kind"),
        alt.Tooltip("gauge:N", title="gauge"),
    ]
    shapes = alt.Shape("kind:N", legend=None, scale=kinds)
    return [
        spans.encode(y=alt.Y("low:Q"), y2="high:Q"),
        errors.encode(y=alt.Y("low:Q"), y2="high:Q"),
        points.encode(y=y, shape=shapes, tooltip=tips),
    ]
