"""What an hour at the bench leaves by tier, behind each tier its jobs, and month by month."""

from __future__ import annotations

import streamlit as st

from dashboard import earn_charts, labour_worked
from dashboard import earn_panels as show
from dashboard import earn_words as words
from dashboard.fault_address import row_of
from dashboard.fault_charts import PICKED
from dashboard.labour_address import EarnAsked
from dashboard.markup import capital
from dashboard.views.faults_shown import heading
from dashboard.views.time_shown import (
    Shown,
    card,
    folded_table,
    long_table,
    note,
    picking_card,
    table_view,
)
from ledger.figures.margin import BookMargin
from ledger.figures.margin_shapes import TierMargin


def tiers_view(shown: Shown[EarnAsked], found: BookMargin) -> None:
    """Draw what tiers earn an hour, the table of it, and the jobs of the tier asked for."""
    _chart(shown, found)
    asked, say = shown.asked, shown.say
    table_view(show.tiers_table(found.tiers, found.total, found.not_carried, asked, say))
    note(f"Break-even: {words.break_even_note(found.break_even, say)}")
    chosen = next((one for one in found.tiers if row_of(one.tier) == asked.row), None)
    _choose(shown, found, chosen)
    if chosen is not None:
        _jobs(shown, chosen)
    elif asked.row:
        note(f"No job closed in these days is of the tier {asked.row}.")


def _chart(shown: Shown[EarnAsked], found: BookMargin) -> None:
    say, charge = shown.say, earn_charts.charge_of(found.break_even, shown.say)
    title = words.tiers_title(found.tiers, found.break_even, say)
    rows = earn_charts.tier_rows(found.tiers, shown.asked.row, say)
    if rows.empty:
        note(f"{title}.")
        return
    unit, locale = f"{say.currency} an hour at the bench", shown.words.formats.locale
    chart = shown.drawn("tiers", lambda: earn_charts.tier_chart(rows, charge, unit, title, locale))
    picking_card(shown, "tiers", title, words.HOURLY, chart, PICKED)


def _choose(shown: Shown[EarnAsked], found: BookMargin, chosen: TierMargin | None) -> None:
    """Offer the tiers by name, for whoever does not point at charts."""
    labels = {row_of(one.tier): show.choice_label(one, shown.say) for one in found.tiers}
    st.session_state["jobs-earned"] = row_of(chosen.tier) if chosen else None
    with st.container(key="choose_row"):
        st.selectbox(
            "Jobs of a tier",
            list(labels),
            key="jobs-earned",
            format_func=lambda row: labels.get(row, row),
            placeholder="Choose one, or press it above",
            on_change=lambda: shown.go(row=st.session_state["jobs-earned"] or ""),
        )


def _jobs(shown: Shown[EarnAsked], tier: TierMargin) -> None:
    asked = shown.asked
    found = labour_worked.margin_jobs(shown.book, asked.day, asked.days, tier.tier)
    heading(
        f"{capital(tier.label)}: {shown.say.count(len(found), 'job')}, least margin first",
        "Come-backs whose unpaid work this tier caused are among them. Press a job for its steps.",
    )
    long_table("earned", show.jobs_table(found, asked, shown.say))


def months_view(shown: Shown[EarnAsked], found: BookMargin) -> None:
    """Draw what was left month by month."""
    months, say = found.months, shown.say
    title = words.months_title(months)
    rows = earn_charts.month_rows(months, say)
    locale = shown.words.formats.locale
    chart = shown.drawn(
        "months", lambda: earn_charts.month_chart(rows, say.currency, title, locale)
    )
    card("months", title, words.MONTHLY, chart)
    folded_table("The months as a table", show.months_table(months, say))
