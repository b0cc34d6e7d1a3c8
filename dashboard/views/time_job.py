"""One job from quoted to actual: in minutes, in money, and line by line."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from dashboard import labour_worked, markup, time_charts, wear_panels
from dashboard import time_panels as show
from dashboard import time_words as words
from dashboard.fault_panels import folded
from dashboard.labour_address import TimeAsked
from dashboard.markup import text
from dashboard.views.faults_shown import heading
from dashboard.views.time_shown import Shown, card, note, table_view, told
from ledger.errors import LedgerError
from ledger.figures.labour_shapes import JobWaterfall, WaterfallStep


def job_view(shown: Shown[TimeAsked]) -> None:
    """Draw the job the address asks for, or that there is none such."""
    asked = shown.asked
    above = (("All minutes", asked.where(job="")),)
    found = labour_worked.labour(shown.book, asked.day, asked.days)
    try:
        job = found.waterfall(asked.job)
    except LedgerError as error:
        st.html(wear_panels.path(*above) + markup.blank("There is no such job", str(error)))
        return
    st.set_page_config(page_title=f"Job {job.job} · Lockring")
    st.html(wear_panels.path(*above, (f"Bike {job.bike}", asked.of_bike(job.bike))))
    st.html(wear_panels.facts(job.front, _facts(shown, job)))
    _steps(shown, job)
    heading("Every line that was quoted, and its answer")
    if job.lines:
        table_view(show.lines_table(job, shown.say))
    else:
        note("Nothing was quoted in this job.")
    told(show.notes(job.notes, "To know of it"))


def _facts(shown: Shown[TimeAsked], job: JobWaterfall) -> dict[str, str]:
    closed = shown.say.day(job.closed_at) if job.closed_at else "still open"
    return {"Job": job.job, "Tier": job.tier_label, "Closed": closed}


def _steps(shown: Shown[TimeAsked], job: JobWaterfall) -> None:
    locale, say = shown.words.formats.locale, shown.say
    with st.container(key="readings_job"):
        for key, steps, unit, is_money in (
            ("minutes", job.minutes, "minutes", False),
            ("money", job.money, f"{say.currency}, net of tax", True),
        ):
            if not steps:
                note(f"{words.job_title(job, say, is_money=is_money)}.")
                continue
            rows = time_charts.step_rows(steps, say, is_money=is_money)
            title = words.job_title(job, say, is_money=is_money)
            chart = shown.drawn(f"{key} {job.job}",
                                lambda rows=rows, unit=unit, title=title:
                                time_charts.step_chart(rows, unit, title, locale))  # fmt: skip
            card(f"steps-{key}", title, "Filled: came on top. Dashed: fell away.", chart,
                 _said(steps), level=2)  # fmt: skip


def _said(steps: Sequence[WaterfallStep]) -> str:
    """Give what stands behind the steps, folded, for whoever cannot point at bars."""
    said = [f"{markup.capital(step.label)}: {step.note}" for step in steps if step.note]
    items = "".join(f"<li>{text(one)}</li>" for one in said)
    return (
        folded("What stands behind it", f'<ul class="lk-conditions">{items}</ul>') if said else ""
    )
