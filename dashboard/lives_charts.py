"""Charts of how long parts last: the share still good by use, as seen and by a law."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd
from babel import Locale

from dashboard.chart_theme import ACCENT, INK, SOFT, drawn
from dashboard.charts import HEIGHT
from dashboard.dot_charts import AXIS_HEIGHT
from ledger.figures.part_lives import ModelLives

LAW_POINTS = 41


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
    return drawn(
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
