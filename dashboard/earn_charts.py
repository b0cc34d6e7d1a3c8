"""Charts of what tiers earn: an hour at the bench, months, and the bench week by week."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import timedelta
from typing import Any

import altair as alt
import pandas as pd
from babel import Locale

from dashboard.chart_theme import ACCENT, GROOVE, INK, LINE, SHEET, SOFT, drawn
from dashboard.fault_address import row_of
from dashboard.fault_charts import PICKED
from dashboard.labour_say import LabourSay
from dashboard.markup import capital
from dashboard.time_charts import AXIS_ROOM, MIDDLE, ROW_STEP, month_axis, row_words
from dashboard.wear_charts import TALL
from ledger.figures.margin_shapes import BreakEven, MonthMargin, TierMargin, WeekSold

TIERS = ["row", "label", "said", "value", "low_80", "high_80", "low_95", "high_95", "earned",
         "is_few", "is_chosen"]  # fmt: skip
BAR_DAYS = timedelta(days=5)
"""How long a week's bar is: the rest parts it from the next."""
ROOM = 1.06
"""How far an axis goes past what is on it."""


# -- an hour at the bench ---------------------------------------------------------------------


def tier_rows(tiers: Iterable[TierMargin], chosen: str, say: LabourSay) -> pd.DataFrame:
    """Give one row a tier that has minutes of its own: money an hour, in whole currency."""
    made = [_tier_row(tier, chosen, say) for tier in tiers if tier.contribution_per_hour]
    return pd.DataFrame(made, columns=TIERS)


def _tier_row(tier: TierMargin, chosen: str, say: LabourSay) -> tuple[Any, ...]:
    hour, earned = tier.contribution_per_hour, tier.earning.earned_rate_minor
    assert hour is not None
    said = f"{say.money(hour.value)} an hour"
    ends = (hour.low_80, hour.high_80, hour.low_95, hour.high_95)
    if tier.is_too_few:
        said = f"{say.count(tier.earning.count_jobs, 'job')}: too few to judge"
        ends = (None, None, None, None)
    whole = [say.whole(minor) for minor in (hour.value, *ends, earned)]
    row = row_of(tier.tier)
    return row, capital(tier.label), said, *whole, tier.is_too_few, row == chosen


def tier_chart(
    rows: pd.DataFrame, charge: float | None, unit: str, description: str, locale: Locale
) -> dict[str, Any]:
    """Give contribution and earned rate an hour by tier, beside the break-even charge."""
    figures = rows.drop(columns=["row", "label", "said", "is_few", "is_chosen"]).astype(float)
    top = max(float(figures.max().max()), charge or 0.0) * ROOM
    low = min(0.0, float(figures.min().min()) * ROOM)
    x = alt.X("low_95:Q", title=unit, scale=alt.Scale(domain=[low, top], nice=False),
              axis=alt.Axis(tickCount=5, domain=False, ticks=False))  # fmt: skip
    base = alt.Chart(rows).encode(y=alt.Y("row:N", sort=list(rows["row"]), axis=None))
    chosen = base.transform_filter("datum.is_chosen").mark_rect(color=GROOVE, opacity=1)
    lines = [_line(0.0, x, SOFT, [1, 0])] + ([_line(charge, x, INK, [5, 3])] if charge else [])
    layers = [chosen, *lines, *_tier_marks(base, x), *row_words(base), _pressed(base)]
    height = ROW_STEP * len(rows) + AXIS_ROOM
    return drawn(alt.layer(*layers).properties(height=height, description=description), locale)


def _line(at: float, x: alt.X, colour: str, dashes: list[int]) -> alt.Chart:
    one = alt.Chart(pd.DataFrame([{"low_95": at}]))
    return one.mark_rule(color=colour, strokeWidth=1.4, strokeDash=dashes).encode(x=x)


def _tier_marks(base: alt.Chart, x: alt.X) -> list[alt.Chart]:
    """Give intervals, dots (hollow for too few), and diamonds for what an hour earned."""
    thin = base.mark_rule(color=ACCENT, strokeWidth=2, opacity=0.55, yOffset=MIDDLE)
    thick = base.mark_rule(color=ACCENT, strokeWidth=9, opacity=0.45, yOffset=MIDDLE)
    told, few = base.transform_filter("!datum.is_few"), base.transform_filter("datum.is_few")
    style = {"size": 95, "opacity": 1, "yOffset": MIDDLE}
    earned = base.transform_filter("isValid(datum.earned)")
    return [
        thin.encode(x=x, x2="high_95:Q"),
        thick.encode(x="low_80:Q", x2="high_80:Q"),
        told.mark_point(**style, filled=True, color=ACCENT, stroke=SHEET).encode(x="value:Q"),
        few.mark_point(**style, fill=SHEET, stroke=ACCENT, strokeDash=[2, 2]).encode(x="value:Q"),
        earned.mark_point(**style, shape="diamond", fill=SHEET, stroke=INK).encode(x="earned:Q"),
    ]


def _pressed(base: alt.Chart) -> alt.Chart:
    pick = alt.selection_point(name=PICKED, fields=["row"], toggle=False)
    named = {"value": "before fixed cost, an hour", "low_80": "one in ten below",
             "high_80": "one in ten above", "earned": "earned, an hour"}  # fmt: skip
    tips = [alt.Tooltip(f"{name}:Q", title=said, format=".2f") for name, said in named.items()]
    over = base.mark_rect(color=GROOVE, opacity=0, cursor="pointer")
    return over.encode(
        tooltip=[alt.Tooltip("label:N", title="show the jobs of"), *tips]
    ).add_params(pick)


def charge_of(found: BreakEven | None, say: LabourSay) -> float | None:
    """Give the break-even charge in whole currency."""
    return None if found is None else say.whole(found.charge_minor)


# -- months -----------------------------------------------------------------------------------


def month_rows(months: Iterable[MonthMargin], say: LabourSay) -> pd.DataFrame:
    """Give one row a month: margin and contribution, in whole currency, and in words."""
    made = [
        (one.month, say.short_month(one.month), say.whole(one.earning.margin_minor),
         say.whole(one.earning.contribution_minor), say.money(one.earning.margin_minor),
         say.money(one.earning.contribution_minor), one.earning.margin_minor < 0)
        for one in months
    ]  # fmt: skip
    columns = ["month", "label", "margin", "before", "said", "before_said", "is_loss"]
    return pd.DataFrame(made, columns=columns)


def month_chart(rows: pd.DataFrame, unit: str, description: str, locale: Locale) -> dict[str, Any]:
    """Give the margin a month as bars from nought, outlines where it is a loss, and ticks."""
    order = list(rows["month"])
    x = alt.X("month:O", title=None, sort=order, scale=alt.Scale(domain=order),
              axis=month_axis(order, rows["label"]))  # fmt: skip
    y = alt.Y("margin:Q", title=unit, axis=alt.Axis(format="~s"), stack=None)
    base = alt.Chart(rows).encode(x=x, tooltip=_month_tips())
    size = alt.RelativeBandSize(0.62)
    layers = [
        base.mark_bar(stroke=ACCENT, strokeWidth=1.6, width=size).encode(
            y=y,
            fill=alt.condition("datum.is_loss", alt.value(SHEET), alt.value(ACCENT)),
            strokeDash=alt.condition("datum.is_loss", alt.value([3, 2]), alt.value([1, 0])),
        ),
        base.mark_tick(color=INK, thickness=2, width=size).encode(y="before:Q"),
        alt.Chart(pd.DataFrame([{"margin": 0.0}])).mark_rule(color=SOFT).encode(y=y),
    ]
    return drawn(alt.layer(*layers).properties(height=TALL, description=description), locale)


def _month_tips() -> list[alt.Tooltip]:
    named = {"label": "month", "said": "margin", "before_said": "before fixed cost"}
    return [alt.Tooltip(f"{name}:N", title=said) for name, said in named.items()]


# -- weeks ------------------------------------------------------------------------------------


def week_rows(weeks: Sequence[WeekSold], say: LabourSay) -> pd.DataFrame:
    """Give one row a week: hours paid for, hours of all kinds, and the hours that were open."""
    made = [
        (one.starts_on.isoformat(), (one.starts_on + BAR_DAYS).isoformat(), 0.0,
         one.charged_minutes / 60, one.bench_minutes / 60,
         None if one.open_minutes is None else one.open_minutes / 60, say.day(one.starts_on))
        for one in weeks
    ]  # fmt: skip
    columns = ["starts_on", "ends_on", "nought", "charged", "bench", "open", "said"]
    return pd.DataFrame(made, columns=columns)


def week_chart(rows: pd.DataFrame, description: str, locale: Locale) -> dict[str, Any]:
    """Give hours at the bench a week: quoted or found later, unpaid on top, and hours open."""
    axis = alt.Axis(format="%b", tickCount="month", grid=False, labelOverlap="greedy")
    x = alt.X("starts_on:T", title=None, axis=axis, scale=alt.Scale(type="utc"))
    y = alt.Y("bench:Q", title="hours a week")
    base = alt.Chart(rows).encode(x=x)
    bars = base.encode(x2="ends_on:T", tooltip=_week_tips())
    line = base.mark_line(color=INK, strokeWidth=1.6, strokeDash=[5, 3], interpolate="step-after")
    layers = [
        bars.mark_rect(color=LINE).encode(y=y, y2="nought:Q"),
        bars.mark_rect(color=ACCENT).encode(y="charged:Q", y2="nought:Q"),
        line.encode(y="open:Q"),
    ]
    return drawn(alt.layer(*layers).properties(height=TALL, description=description), locale)


def _week_tips() -> list[alt.Tooltip]:
    named = {
        "charged": "hours quoted or found later",
        "bench": "hours in all",
        "open": "hours open",
    }
    told = [alt.Tooltip(f"{name}:Q", title=said, format=".1f") for name, said in named.items()]
    return [alt.Tooltip("said:N", title="week of"), *told]
