"""The rider's page of a bike's visit, offered on the bike's own page and made when asked for."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from functools import partial

import streamlit as st

from dashboard import worked_out
from dashboard.data import Bike
from dashboard.entries import Entry
from dashboard.words import Words
from ledger.book import Book

PDF = "application/pdf"
LABEL = "Rider's page (PDF)"


def newest_visit(entries: Iterable[Entry], as_at: datetime) -> Entry | None:
    """Give where the newest visit by an instant was opened; None where there was none."""
    opened = [
        entry
        for entry in entries
        if entry.kind == "job_opened" and not entry.is_struck and entry.occurred_at <= as_at
    ]
    return opened[-1] if opened else None


def offer(book: Book, bike: Bike, as_at: datetime, words: Words) -> None:
    """Offer the page of the newest visit by an instant; nothing where there was none."""
    visit = newest_visit(bike.entries, as_at)
    if visit is None or visit.job is None:
        return
    day = words.formats.local(visit.occurred_at).date()
    st.download_button(
        LABEL,
        partial(page_of, book, bike.tag, visit.job),
        file_name=f"{bike.tag}-{day.isoformat()}.pdf",
        mime=PDF,
        key="rider-page",
        on_click="ignore",
        icon=":material/description:",
        help=f"One A4 page to hand over, of the visit of {words.formats.day(day)}",
    )


def page_of(book: Book, tag: str, job: str) -> bytes:
    """Give the page of one visit as PDF, as at now; raises NoSuchJob, PageFailed."""
    from ledger.reports import report_of, report_pdf

    return report_pdf(report_of(book, tag, job, wear=worked_out.wear(book)))
