"""Choosing a person by a few letters of their name: presses, and one for somebody new."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from dashboard import bench_form, bench_worked, data
from dashboard.bench_form import Form
from dashboard.views.bench_pieces import press_button

MOST_PEOPLE = 6


def fields_of(of: str) -> tuple[str, str]:
    """Give the fields of a form that choosing a person fills: who, and the letters typed."""
    return of, f"{of}_letters"


def person(form: Form, of: str, label: str, keep: Callable[[], None]) -> None:
    """Draw who was chosen, or the line for letters and a press for each person they may mean."""
    chosen = form.value(of)
    if chosen:
        name = data.person(form.stand.book, chosen)
        press_button(f"{label}: {name}. Not them", f"no-{of}", _take, form, of, None, keep)
        return
    letters = fields_of(of)[1]
    bench_form.line(form, letters, f"{label}: letters of the name", keep, is_live=True)
    offered(form, letters, f"{of}-", lambda rider: _take(form, of, rider, keep))


def offered(form: Form, letters: str, key: str, take: Callable[[str], None]) -> None:
    """Draw a press for each person that letters may mean, and one that enters somebody new."""
    typed, book = form.text(letters), form.stand.book
    if not typed:
        return
    with st.container(key=f"bench_people-{key}", horizontal=True):
        for one in bench_worked.people(book, typed)[:MOST_PEOPLE]:
            press_button(one.name or one.rider, f"person-{key}{one.rider}", take, one.rider)

        def new() -> None:
            take(bench_worked.entered(book, typed))

        press_button(f"New: {typed}", f"person-{key}new", new)


def _take(form: Form, of: str, rider: str | None, keep: Callable[[], None]) -> None:
    form.put(of, rider)
    form.put(fields_of(of)[1], "")
    keep()
