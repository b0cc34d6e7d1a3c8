"""What is held against each other: part models, tiers, mechanics, and work done unbilled."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import streamlit as st

from dashboard import fault_charts, fault_say, step_charts
from dashboard import fault_sure_panels as show
from dashboard.fault_address import RATES
from dashboard.markup import capital, text
from dashboard.views.faults_shown import Shown, card, choice, heading
from ledger.figures.fault_estimates import FaultFunnel, ModelRate, PreventionRow

RATED = {
    "years": "faults a year",
    "distance": "faults per 1,000 km",
    "come-backs": "repairs that came back",
}
MOST_MODELS = 14
TOGETHER = "Models are drawn together by how alike they are (gamma-Poisson), with 95 %."
ALONE = "The only model of its sort: its own rate, with an exact 95 %."


def compared_view(shown: Shown) -> None:
    """Draw part models, tiers, mechanics where the owner asks for them, and prevention."""
    _models(shown)
    asker = shown.found.asker
    if asker.sees("money"):
        _tiers(shown)
    if asker.sees("colleagues"):
        _mechanics(shown)
    _prevention(shown)


# -- part models ------------------------------------------------------------------------------


def _models(shown: Shown) -> None:
    heading("Which part models have more")
    choice(shown, "rates", "Counted as", {name: RATED[name] for name in RATES})
    rates = _rates(shown)
    if not rates:
        st.html('<p class="lk-note">No part with a model was watched for any time yet.</p>')
        return
    sorts = _sorts(rates)
    sort = st.selectbox(
        "Sort of part",
        list(sorts),
        key=f"sort-{shown.asked.rates}",
        format_func=lambda name: capital(name.replace("_", " ")),
    )
    _rates_of(shown, sorts[sort or next(iter(sorts))], (sort or "").replace("_", " "))


def _rates(shown: Shown) -> Sequence[ModelRate]:
    found = shown.found.model_rates
    of = {"years": found.by_years, "distance": found.by_distance, "come-backs": found.come_backs}
    return of[shown.asked.rates]


def _sorts(rates: Sequence[ModelRate]) -> dict[str, list[ModelRate]]:
    """Give the models of each sort, sorts with one that stands out first, then by events."""
    sorts: dict[str, list[ModelRate]] = {}
    for one in rates:
        sorts.setdefault(one.sort, []).append(one)

    def order(sort: str) -> tuple[bool, int, str]:
        of = sorts[sort]
        return not any(one.is_above for one in of), -sum(one.count_events for one in of), sort

    return {sort: sorts[sort] for sort in sorted(sorts, key=order)}


def _rates_of(shown: Shown, rates: Sequence[ModelRate], sort: str) -> None:
    counted, title = shown.asked.rates, fault_say.rates_title(rates, sort)
    rows = fault_charts.rate_rows(rates[:MOST_MODELS], shown.say)
    is_share = counted == "come-backs"
    said = TOGETHER if len(rates) > 1 else ALONE
    locale = shown.words.formats.locale
    legend = _rates_legend("repairs" if is_share else "parts", is_alone=len(rates) == 1)

    def build() -> dict[str, Any]:
        return fault_charts.rate_chart(rows, RATED[counted], title, locale, is_share=is_share)

    chart = shown.drawn(f"models {counted} {sort}", build)
    card("models", title, said, chart, legend + show.rates_table(rates, counted, shown.say))


def _rates_legend(counted: str, *, is_alone: bool) -> str:
    """Say what the marks of a sort's models are, and what stands in brackets."""
    drawn = "its own rate" if is_alone else "drawn together"
    return (
        f'<p class="lk-legend"><span><i class="lk-dotmark"></i>{drawn}</span>'
        '<span><i class="lk-rawmark"></i>as counted</span>'
        f"<span>({counted})</span></p>"
    )


# -- funnels ----------------------------------------------------------------------------------


def _tiers(shown: Shown) -> None:
    heading("Does a tier's work hold better?")
    _funnel(shown, shown.found.tier_funnel, shown.say.tier)


def _mechanics(shown: Shown) -> None:
    heading(
        "Whose work holds better?",
        "For the owner, to find what to look into with somebody; it is off until it is asked for, "
        "and stands in no address.",
    )
    if st.toggle("Show mechanics (for the owner)", key="for_owner"):
        _funnel(shown, shown.found.mechanic_funnel, lambda name: name or "nobody named")


def _funnel(shown: Shown, found: FaultFunnel | None, name: Callable[[str | None], str]) -> None:
    if found is None or not found.units:
        st.html('<p class="lk-note">No repairs to judge yet.</p>')
        return
    title = fault_say.funnel_title(found)
    if found.guide:
        _funnel_chart(found, title, name, shown)
    else:
        st.html(f'<p class="lk-note">{text(title)}.</p>')
    st.html(show.funnel_table(found, name, shown.say))


def _funnel_chart(
    found: FaultFunnel, title: str, name: Callable[[str | None], str], shown: Shown
) -> None:
    said = (
        f"Repairs are {found.strata}; inside the band is what chance alone allows in 19 of 20 "
        "shops. Further right are more repairs."
    )
    rows = fault_charts.funnel_rows(found, name)
    chart = fault_charts.funnel_chart(found, rows, title, shown.words.formats.locale)
    legend = (
        '<p class="lk-legend"><span><i class="lk-bandmark"></i>what chance allows</span>'
        '<span><i class="lk-stepmark"></i>all together</span>'
        "<span>a triangle: outside it</span></p>"
    )
    card(f"funnel-{found.by}", title, said, chart, legend)


# -- prevention -------------------------------------------------------------------------------


def _prevention(shown: Shown) -> None:
    found = shown.found.prevention
    heading("Does small unbilled work pay?", fault_say.prevention_note(found, shown.say))
    if not found.rows:
        st.html('<p class="lk-note">No preventive treatment is on record: record one with '
                "<code>is_preventive</code>.</p>")  # fmt: skip
        return
    rows = fault_charts.difference_rows(found.rows, shown.say)
    if len(rows):
        title = fault_say.prevention_title(found.rows, shown.say)
        said = "Risk of trouble with the work less risk without it; thick 80 %, thin 95 %."
        chart = fault_charts.difference_chart(rows, title, shown.words.formats.locale)
        card("prevention", title, said, chart)
    st.html(show.prevention_table(found.rows, shown.say))
    _arms(shown, found.rows)


def _arms(shown: Shown, rows: Sequence[PreventionRow]) -> None:
    drawn = {one.position: one for one in rows if one.with_it.curve and one.without_it.curve}
    if not drawn:
        return
    position = st.selectbox(
        "Position",
        list(drawn),
        key="prevented",
        format_func=lambda one: capital(shown.say.place(one)),
    )
    one = drawn[position or next(iter(drawn))]
    lines = [("with preventive work", one.with_it.curve), ("without it", one.without_it.curve)]
    title = f"{capital(shown.say.place(one.position))}: {one.words}"
    chart = step_charts.step_chart(
        step_charts.step_rows(lines),
        "had trouble",
        title,
        shown.words.formats.locale,
        is_share=True,
    )
    said = "Share of bikes that had trouble there by so many days after the job was closed."
    card("arms", title, said, chart, step_charts.step_legend(lines, "shaded: 95 %"))
