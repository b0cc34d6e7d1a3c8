"""Several open jobs on one bike: which of them is worked on."""

from __future__ import annotations

import streamlit as st

from dashboard import bench_html
from dashboard.bench_press import hear
from dashboard.bench_stand import Stand
from dashboard.markup import capital
from dashboard.views.bench_pieces import press_button, show
from ledger.view import OpenJob


def is_asked(stand: Stand) -> bool:
    """Say whether it has to be chosen first."""
    return len(stand.bench.jobs) > 1 and not stand.asked.job


def jobs_view(stand: Stand) -> None:
    """Draw each open job as one press, the one opened last first."""
    if stand.gone_job:
        show(bench_html.wild(stand.gone_job))
    show(bench_html.item("Bench", "Which job is worked on?", "jobs"))
    for one in reversed(stand.bench.jobs):
        press_button(_named(stand, one), f"job-{one.job}", _chosen, stand, one.job, is_wide=True)


def switch(stand: Stand) -> None:
    """Draw the way to the other open jobs, where there are any."""
    others = len(stand.bench.jobs) - 1
    if others > 0:
        words = "Another job is open" if others == 1 else f"{others} other jobs are open"
        with st.container(key="bench_other_jobs"):
            press_button(f"{words}: choose", "other-job", _chosen, stand, "", is_wide=True)


def _named(stand: Stand, one: OpenJob) -> str:
    """Give a job by its tier and when it was booked in."""
    words = stand.words
    tier = capital(words.tier(one.tier)) if one.tier else "Without a tier"
    waits = f", waits for {one.waiting_for}" if one.waiting_for else ""
    return f"{tier}, booked in {words.formats.moment(one.opened_at)}{waits}"


def _chosen(stand: Stand, job: str) -> None:
    hear(None)
    stand.go(step="", job=job)
