"""Charts of wear: usual rates, one part's line against its limit, and how long parts last.

Every figure drawn is finite; what cannot be foretold is left out of the picture and said in words.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import altair as alt
import pandas as pd
from babel import Locale

from dashboard.chart_theme import ACCENT, INK, SHEET, SOFT, config
from dashboard.charts import HEIGHT, SHADE_OPACITY
from dashboard.wear_words import per
from dashboard.words import Words
from ledger.figures.part_lives import ModelLives
from ledger.figures.wear import BandPoint, PartWear, RateFigure

ROW_HEIGHT, AXIS_HEIGHT = 21, 48
SPREAD_80 = 1.2816
"""Standard deviations either side of the middle that hold 80 % of a normal error."""
TALL = 300
FACTORS = ("all", "riding", "position", "model")
"""What rates are shown by, in this order."""
LAW_POINTS = 41
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
    return pd.DataFrame(rows, columns=["label", "factor", "low", "middle", "high", "parts"])


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


def rate_chart(
    rates: Sequence[RateFigure], unit: str, description: str, words: Words
) -> dict[str, Any]:
    """Give usual rates as dots, each with the line in which eight of ten such parts lie."""
    title = per(rates[0].exposure_unit, unit)
    return dot_chart(rate_rows(rates, words), title, description, words.formats.locale)


def dot_chart(
    rows: pd.DataFrame,
    title: str,
    description: str,
    locale: Locale,
    figures: str = ".2~r",
    top: float | None = None,
) -> dict[str, Any]:
    """Give rows (label, factor, low, middle, high, parts) as dots on lines, factor by factor.

    Rows of the factor `all` are drawn apart in ink; the axis goes from 0 to `top`, or holds all.
    """
    rows = rows.assign(label=_told_apart(rows["label"]))
    order = _spaced(rows)
    end = float(rows["high"].max()) * 1.04 if top is None else top
    axis = alt.Axis(tickCount=4, domain=False, ticks=False)
    axis = alt.Axis(tickCount=4, domain=False, ticks=False, format=figures) if top else axis
    x = alt.X("low:Q", title=title, axis=axis, scale=alt.Scale(domain=[0, end], nice=False))
    names = alt.Axis(labelLimit=190, labelPadding=8, labelColor=INK, grid=False)
    y = alt.Y("label:N", title=None, sort=order, scale=alt.Scale(domain=order), axis=names)
    base = alt.Chart(rows).encode(y=y)
    tips = [
        alt.Tooltip("label:N", title="(how many)"),
        alt.Tooltip("middle:Q", title="figure", format=figures),
        alt.Tooltip("low:Q", title="one in ten below", format=figures),
        alt.Tooltip("high:Q", title="one in ten above", format=figures),
    ]
    is_whole = alt.condition("datum.factor == 'all'", alt.value(INK), alt.value(ACCENT))
    spread = base.mark_rule(strokeWidth=3, opacity=0.45).encode(x=x, x2="high:Q", color=is_whole)
    dots = base.mark_point(size=90, filled=True, stroke=SHEET, strokeWidth=1, opacity=1)
    dots = dots.encode(x="middle:Q", color=is_whole, tooltip=tips)
    height = ROW_HEIGHT * len(order) + AXIS_HEIGHT
    return _drawn(
        alt.layer(spread, dots).properties(height=height, description=description), locale
    )


def _drawn(chart: alt.LayerChart, locale: Locale) -> dict[str, Any]:
    return dict(chart.configure(**config(locale)).to_dict())


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
    low, high = min(seen), max(seen)
    room = (high - low) * 0.1 or abs(high) * 0.25 or 1.0
    return [max(low - room, 0.0) if low >= 0 else low - room, high + room]


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
    return _drawn(chart, locale)


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


def curve_rows(one: ModelLives) -> pd.DataFrame:
    """Give the share still good by length of use, with its band, up to the last part watched."""
    curve = one.group.curve
    columns = zip(curve.times, curve.survival, curve.lower, curve.upper, strict=True)
    rows = [{"at": float(a), "share": float(s), "low": float(low), "high": float(high)}
            for a, s, low, high in columns]  # fmt: skip
    end = max(one.watched[-1].at, rows[-1]["at"])
    return pd.DataFrame([*rows, {**rows[-1], "at": end}])


def law_rows(one: ModelLives) -> pd.DataFrame:
    """Give the Weibull law's share still good with its band; no rows where there is no law."""
    law, end = one.group.weibull, max(one.watched[-1].at, float(one.group.curve.times[-1]))
    if law is None:
        return pd.DataFrame(columns=["at", "share", "low", "high"])
    at = [end * step / (LAW_POINTS - 1) for step in range(LAW_POINTS)]
    band = law.survival(at)
    return pd.DataFrame({"at": at, "share": band.value, "low": band.lower, "high": band.upper})


def lives_chart(one: ModelLives, description: str, locale: Locale) -> dict[str, Any]:
    """Give the share of a model's parts still good by use: as seen (steps), and by the law."""
    seen, law = curve_rows(one), law_rows(one)
    end = float(seen["at"].max()) or 1.0
    title = "km" if one.unit == "km" else "days"
    axis = alt.Axis(tickCount=4, grid=False)
    x = alt.X("at:Q", title=title, axis=axis, scale=alt.Scale(domain=[0, end], nice=False))
    share = alt.Axis(format=".0%", tickCount=4, domain=False, ticks=False)
    y = alt.Y("share:Q", title="still good", axis=share, scale=alt.Scale(domain=[0, 1]))
    steps, falls = alt.Chart(seen).encode(x=x), alt.Chart(seen.iloc[:-1])
    area = steps.mark_area(interpolate="step-after", color=SOFT, opacity=0.16, line=False)
    layers = [
        area.encode(y=alt.Y("low:Q"), y2="high:Q"),
        steps.mark_line(interpolate="step-after", color=INK, strokeWidth=2).encode(y=y),
        *_law(law, x),
        falls.mark_point(size=30, filled=True, color=INK, opacity=1).encode(x=x, y=y),
    ]
    return _drawn(
        alt.layer(*layers).properties(height=HEIGHT + AXIS_HEIGHT, description=description), locale
    )


def _law(law: pd.DataFrame, x: alt.X) -> list[alt.Chart]:
    if law.empty:
        return []
    base = alt.Chart(law).encode(x=x)
    edge = base.mark_line(color=ACCENT, strokeWidth=1, strokeDash=[2, 3], opacity=0.8)
    return [
        edge.encode(y="low:Q"),
        edge.encode(y="high:Q"),
        base.mark_line(color=ACCENT, strokeWidth=2, strokeDash=[6, 3]).encode(y="share:Q"),
    ]
