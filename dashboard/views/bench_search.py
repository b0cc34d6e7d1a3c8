"""A search for a cause, step by step: what was tried and what came of it."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from dashboard import bench_form, bench_html, bench_press
from dashboard.bench_form import Form, NotRead
from dashboard.bench_stand import Stand
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_pieces import press_button, show

STEPS = "search steps"
FIELDS = ("tried", "result")
Tried = dict[str, str]


def draw(form: Form, keep: Callable[[], None]) -> None:
    """Draw the steps so far, and the two lines of the next one."""
    gathered = _gathered(form.stand)
    show(bench_html.rows([(one["tried"], one["result"], None) for one in gathered]))
    bench_form.line(form, "tried", f"Step {len(gathered) + 1}: what was tried", keep)
    bench_form.line(form, "result", "What came of it", keep)
    with st.container(key="bench_search_steps", horizontal=True):
        press_button("Add this step", "add-step", _added, form, keep)
        if gathered:
            press_button("Take the last step off", "take-step", _taken, form.stand)


def read(form: Form) -> list[Tried]:
    """Give every step, the one that is typed and not added yet too; raises NotRead."""
    gathered = _gathered(form.stand)
    if not form.text("tried") and not form.text("result"):
        return gathered
    return [*gathered, _typed(form)]


def forget(stand: Stand) -> None:
    """Forget the steps: they are recorded."""
    stand.throw_away(STEPS)


def _gathered(stand: Stand) -> list[Tried]:
    return list(stand.kept(STEPS).get("steps", []))


def _typed(form: Form) -> Tried:
    tried, result = form.text("tried"), form.text("result")
    if not tried or not result:
        raise NotRead("A step says what was tried, and what came of it.")
    return {"tried": tried, "result": result}


def _added(form: Form, keep: Callable[[], None]) -> None:
    try:
        step = _typed(form)
    except NotRead as error:
        pieces.refuse(str(error), form.name)
        return
    form.stand.keep(STEPS, {"steps": [*_gathered(form.stand), step]})
    for of in FIELDS:
        form.put(of, "")
    keep()
    bench_press.hear(None)


def _taken(stand: Stand) -> None:
    stand.keep(STEPS, {"steps": _gathered(stand)[:-1]})
