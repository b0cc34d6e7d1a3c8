"""How sure the figures of faults are, folded: curves and trends, and all that is compared."""

from __future__ import annotations

from typing import Any

import streamlit as st

from dashboard import fault_say, step_charts
from dashboard import fault_sure_panels as show
from dashboard.markup import capital, text
from dashboard.views.faults_compared import compared_view
from dashboard.views.faults_shown import Shown, card, choice, heading
from ledger.figures.fault_estimates import RECURRENCE_BY, Recurrence

CURVES = {"system": "system", "model": "part model", "tier": "tier", "riding": "riding"}


def sure_view(shown: Shown) -> None:
    """Draw what stands behind the figures, folded; it is worked out when it is unfolded."""
    st.session_state["sure"] = shown.asked.is_sure
    fold = st.expander("How sure?", key="sure", on_change=lambda: _fold(shown))
    if not fold.open:
        return
    with fold:
        _curves(shown)
        _trends(shown)
        compared_view(shown)


def _fold(shown: Shown) -> None:
    shown.go(is_sure=bool(st.session_state["sure"]))


# -- how often --------------------------------------------------------------------------------


def _curves(shown: Shown) -> None:
    heading("How often they come")
    shown_by = [by for by in RECURRENCE_BY if by != "tier" or shown.found.asker.sees("money")]
    choice(shown, "curves", "By", {by: CURVES[by] for by in shown_by})
    found = shown.found.recurrence(shown.asked.curves)
    names = [
        fault_say.group_name(found.by, one, shown.say, shown.words.riding) for one in found.groups
    ]
    told = {name: one for name, one in zip(names, found.groups, strict=True) if one.is_enough}
    title = fault_say.curves_title(found, names, shown.say)
    if not told:
        st.html(f'<p class="lk-note">{text(title)}.</p>')
    else:
        _lines(shown, found, told, title)
    st.html(show.groups_table(found, names, shown.say))


def _lines(shown: Shown, found: Recurrence, told: dict[str, Any], title: str) -> None:
    names = _picked(shown, told)
    lines = [(capital(name), told[name].curve) for name in names]
    said = (
        f"Of each line: {fault_say.plural(found.event)} on {found.unit} by so many days, on "
        "average, with Nelson's robust 95 % band."
    )
    rows = step_charts.step_rows(lines)
    locale = shown.words.formats.locale
    chart = shown.drawn(
        f"curves {found.by} {names}",
        lambda: step_charts.step_chart(rows, f"per {found.unit[2:]}", title, locale),
    )
    legend = step_charts.step_legend(lines, "shaded: 95 %")
    card("curves", title, said, chart, legend)


def _picked(shown: Shown, told: dict[str, Any]) -> list[str]:
    """Give the groups drawn: those that differ first, or the ones somebody chose."""
    usual = sorted(told, key=lambda name: not told[name].is_different)[: step_charts.MOST_LINES]
    if len(told) <= step_charts.MOST_LINES:
        return usual
    chosen = st.multiselect(
        "Lines",
        list(told),
        default=usual,
        key=f"lines-{shown.asked.curves}",
        format_func=capital,
        max_selections=step_charts.MOST_LINES,
    )
    return chosen or usual


def _trends(shown: Shown) -> None:
    heading(
        "Do they come more and more often?",
        "By bike, from the closing of its first job to its last look; several faults found in one "
        "job are one find. A shape of the power law above 1 says ever faster.",
    )
    found = shown.found.trends
    if not found:
        st.html('<p class="lk-note">No bike was watched for any time after its first job.</p>')
        return
    st.html(show.trends_table(found, shown.words.riding, shown.say))
