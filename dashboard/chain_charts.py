"""Charts of chains run long: riders' shares, what changing later costs, a bike's sprockets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt
import pandas as pd
from babel import Locale

from dashboard.chart_theme import ACCENT, INK, SHEET, drawn
from dashboard.dot_charts import AXIS_HEIGHT, COLUMNS, dot_chart
from dashboard.wear_charts import BAND_OPACITY, TALL
from dashboard.words import Words
from ledger.figures.chain_report import BikeGears, LimitCurve, ShopChains


def share_rows(
    named: Sequence[tuple[str, float, float, float, int]], shop: ShopChains, words: Words
) -> pd.DataFrame:
    """Give the shop's typical share first, then one row a rider, each with its interval.

    `named` is (name, share, low, high, looks) by rider, shares from 0 to 1.
    """
    number = words.formats.number
    whole = (f"a typical rider ({number(shop.count_riders)})", "all", shop.typical_low,
             shop.typical_share, shop.typical_high, shop.count_riders)  # fmt: skip
    rows = [
        (f"{name} ({number(seen)})", "rider", low, share, high, seen)
        for name, share, low, high, seen in named
    ]
    return pd.DataFrame([whole, *rows], columns=COLUMNS)


def share_chart(rows: pd.DataFrame, description: str, locale: Locale) -> dict[str, Any]:
    """Give riders' shares of looks that found the chain past its limit, with intervals."""
    return dot_chart(
        rows, "looks that found it past its limit", description, locale, figures=".0%", top=1
    )


def gear_rows(found: BikeGears, words: Words) -> pd.DataFrame:
    """Give one row a sprocket, smallest first: wear per 1,000 km with its interval."""
    rows = [
        (f"{gear.teeth} teeth ({words.formats.number(gear.count)})", "gear", gear.rate_low,
         gear.rate, gear.rate_high, gear.count)
        for gear in found.gears
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=COLUMNS)


def gear_chart(rows: pd.DataFrame, description: str, locale: Locale) -> dict[str, Any]:
    """Give how fast each sprocket of a bike wears."""
    return dot_chart(rows, "mm per 1,000\u00a0km", description, locale)


def cost_rows(curve: LimitCurve, minor_digits: int) -> pd.DataFrame:
    """Give one row a threshold: its cost per 1,000 km in whole money, with the band."""
    whole = 10**minor_digits
    rows = [
        (one.change_at, one.low_minor / whole, one.cost_minor / whole, one.high_minor / whole,
         one.is_near_least, one.change_at == curve.least_at)
        for one in curve.thresholds
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["at", "low", "cost", "high", "near", "least"])


def cost_chart(
    rows: pd.DataFrame, limit: float, currency: str, description: str, locale: Locale
) -> dict[str, Any]:
    """Give the cost of 1,000 km against the wear at which chains are changed, with its band.

    Dots are the thresholds within 2 % of the least cost; the dashed line is the chains' limit.
    """
    ends = [min(float(rows["at"].min()), limit), float(rows["at"].max())]
    axis = alt.Axis(tickCount=5, grid=False)
    x = alt.X("at:Q", title="chain changed at, % worn", axis=axis,
              scale=alt.Scale(domain=ends, nice=False, padding=8))  # fmt: skip
    top = float(rows["high"].max()) * 1.2  # the limit's name stands above the curve
    y = alt.Y("cost:Q", title=currency, scale=alt.Scale(domain=[0, top], nice=False))
    base = alt.Chart(rows).encode(x=x)
    near = base.transform_filter("datum.near").mark_point(
        size=70, filled=True, color=ACCENT, stroke=SHEET, strokeWidth=1, opacity=1
    )
    tips = [
        alt.Tooltip("at:Q", title="changed at, %", format=".2~f"),
        *(alt.Tooltip(f"{name}:Q", format=",.2f") for name in ("cost", "low", "high")),
    ]
    layers = [
        base.mark_area(color=ACCENT, opacity=BAND_OPACITY).encode(y=alt.Y("low:Q"), y2="high:Q"),
        base.mark_line(color=ACCENT, strokeWidth=2).encode(y=y),
        near.encode(y=y, tooltip=tips),
        *_limit(limit),
    ]
    chart = alt.layer(*layers).properties(height=TALL - AXIS_HEIGHT, description=description)
    return drawn(chart, locale)


def _limit(limit: float) -> list[alt.Chart]:
    one = alt.Chart(pd.DataFrame([{"at": limit}])).encode(x="at:Q")
    words = one.mark_text(color=INK, fontSize=12, align="left", dx=4, baseline="top")
    line = one.mark_rule(color=INK, strokeDash=[5, 3], strokeWidth=1.5)
    return [line, words.encode(y=alt.value(2), text=alt.value(f"limit {limit:g}"))]
