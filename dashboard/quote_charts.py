"""Charts of work to come: minutes by how sure, how forecasts held, and a part's two costs."""

from __future__ import annotations

from typing import Any

import altair as alt
import pandas as pd
from babel import Locale

from dashboard.chart_theme import ACCENT, INK, LINE, SHEET, SOFT, drawn
from dashboard.labour_say import LabourSay
from dashboard.time_charts import AXIS_ROOM, MIDDLE, ROW_STEP, row_words
from dashboard.wear_charts import TALL
from ledger.figures.foresee_shapes import Calibration, JobForecast, ServiceOrReplace

TARGETS = {"P50": (0.45, 0.55), "P80": (0.75, 0.85)}
"""Shares between which forecasts are called good."""
ROOM = 1.08


# -- a planned job ----------------------------------------------------------------------------


def minute_rows(found: JobForecast, say: LabourSay) -> pd.DataFrame:
    """Give one row a figure of minutes: as planned, and what is passed by half, a fifth, a risk."""
    made = [("Planned", found.planned_minutes, True), ("Half take less", found.p50_minutes, False),
            ("Four in five take less (P80)", found.p80_minutes, False)]  # fmt: skip
    if abs(found.risk - 0.2) > 0.001:
        name = f"All but {say.share(found.risk)} take less"
        made.append((name, found.risk_minutes, False))
    rows = pd.DataFrame(made, columns=["label", "minutes", "is_planned"])
    return rows.assign(said=[say.minutes(one) for one in rows["minutes"]], nought=0.0)


def minute_chart(
    rows: pd.DataFrame, left: float | None, description: str, locale: Locale
) -> dict[str, Any]:
    """Give minutes as bars from nought, what is planned as an outline, beside today's bench."""
    top = max(float(rows["minutes"].max()), left or 0.0, 1.0) * ROOM
    x = alt.X("minutes:Q", title="minutes at the bench",
              scale=alt.Scale(domain=[0, top], nice=False),
              axis=alt.Axis(tickCount=5, domain=False, ticks=False))  # fmt: skip
    base = alt.Chart(rows).encode(y=alt.Y("label:N", sort=list(rows["label"]), axis=None))
    planned = base.transform_filter("datum.is_planned")
    told = base.transform_filter("!datum.is_planned")
    style: dict[str, Any] = {"height": 13, "yOffset": MIDDLE}
    layers = [
        told.mark_bar(**style, color=ACCENT).encode(x=x),
        planned.mark_bar(**style, fill=SHEET, stroke=SOFT, strokeDash=[3, 2]).encode(x=x),
    ]
    if left is not None and left > 0:
        one = alt.Chart(pd.DataFrame([{"minutes": left}]))
        layers.append(one.mark_rule(color=INK, strokeDash=[5, 3], strokeWidth=1.4).encode(x=x))
    layers += row_words(base, INK)
    height = ROW_STEP * len(rows) + AXIS_ROOM
    return drawn(alt.layer(*layers).properties(height=height, description=description), locale)


# -- how forecasts held -----------------------------------------------------------------------


def fold_rows(found: Calibration, say: LabourSay) -> pd.DataFrame:
    """Give two rows a step in time: the shares of jobs under P50 and under P80."""
    made = [
        (number, say.day(fold.scored_until), name, share, fold.count_scored, *TARGETS[name])
        for number, fold in enumerate(found.folds)
        for name, share in (("P50", fold.share_under_p50), ("P80", fold.share_under_p80))
    ]
    return pd.DataFrame(made, columns=["step", "until", "name", "share", "jobs", "low", "high"])


def fold_chart(rows: pd.DataFrame, description: str, locale: Locale) -> dict[str, Any]:
    """Give the shares of jobs under P50 (dots) and P80 (diamonds) inside what is called good."""
    x = alt.X(
        "step:O", title="steps in time, oldest first", axis=alt.Axis(labels=False, ticks=False)
    )
    y = alt.Y("share:Q", title="jobs that took less", scale=alt.Scale(domain=[0.2, 1], nice=False),
              axis=alt.Axis(format=".0%", tickCount=4))  # fmt: skip
    base = alt.Chart(rows).encode(x=x)
    told_by = alt.Scale(domain=list(TARGETS), range=["circle", "diamond"])
    shape = alt.Shape("name:N", legend=None, scale=told_by)
    tips = [alt.Tooltip("name:N"), alt.Tooltip("share:Q", format=".0%"),
            alt.Tooltip("jobs:Q"), alt.Tooltip("until:N")]  # fmt: skip
    bands = [
        alt.Chart(pd.DataFrame([{"share": low, "high": high}]))
        .mark_rect(color=LINE, opacity=0.45)
        .encode(y=y, y2="high:Q")
        for low, high in TARGETS.values()
    ]
    marks = base.mark_point(size=130, filled=True, color=ACCENT, stroke=SHEET, opacity=1)
    layers = [*bands, marks.encode(y=y, shape=shape, tooltip=tips)]
    return drawn(alt.layer(*layers).properties(height=TALL, description=description), locale)


# -- a part -----------------------------------------------------------------------------------


def cost_rows(found: ServiceOrReplace, say: LabourSay) -> pd.DataFrame:
    """Give a row for servicing and for replacing: cost per 1,000 km with 80 %, where known."""
    made = []
    for label, cost in (("Service it", found.service), ("Replace it", found.replace)):
        if cost is not None:
            figures = [None if one is None else say.whole(1000 * one)
                       for one in (cost.minor_per_km, cost.low, cost.high)]  # fmt: skip
            said = say.money(1000 * cost.minor_per_km)
            made.append((label, *figures, f"{said} per 1,000\u00a0km"))
    return pd.DataFrame(made, columns=["label", "value", "low", "high", "said"])


def cost_chart(rows: pd.DataFrame, unit: str, description: str, locale: Locale) -> dict[str, Any]:
    """Give both costs as dots with their intervals."""
    top = float(rows[["value", "high"]].astype(float).max().max()) * ROOM
    x = alt.X("value:Q", title=unit, scale=alt.Scale(domain=[0, top], nice=False),
              axis=alt.Axis(tickCount=5, domain=False, ticks=False))  # fmt: skip
    base = alt.Chart(rows).encode(y=alt.Y("label:N", sort=list(rows["label"]), axis=None))
    spread = base.transform_filter("isValid(datum.low)")
    layers = [
        spread.mark_rule(color=ACCENT, strokeWidth=9, opacity=0.45, yOffset=MIDDLE).encode(
            x="low:Q", x2="high:Q"
        ),
        base.mark_point(
            size=95, filled=True, color=ACCENT, stroke=SHEET, opacity=1, yOffset=MIDDLE
        ).encode(x=x),
        *row_words(base, INK),
    ]
    height = ROW_STEP * len(rows) + AXIS_ROOM
    return drawn(alt.layer(*layers).properties(height=height, description=description), locale)
