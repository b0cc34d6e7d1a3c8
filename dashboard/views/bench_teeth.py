"""Sprockets and rings tooth count by tooth count, and readings that are on no list."""

from __future__ import annotations

import streamlit as st

from dashboard import bench_form, bench_words
from dashboard.bench_form import Form
from dashboard.bench_place import ALL, next_item
from dashboard.bench_stand import Stand
from dashboard.markup import capital
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_pieces import press_button, show
from dashboard.views.bench_work import place
from ledger.bench.shapes import MeasureItem

WORN, TEETH, OTHER = "tooth_wear", "teeth", "other"
FEWEST, MOST = 6, 80
"""Teeth of a sprocket or ring."""
FIELDS = ("position", "system", "quantity")


def teeth_view(stand: Stand, item: MeasureItem) -> None:
    """Draw each tooth count that was read here before, and the field that opens another."""
    form = Form(stand, f"teeth {item.position}")
    form.begin("teeth")
    with st.container(key="bench_entry", horizontal=True, vertical_alignment="bottom"):
        bench_form.line(form, "teeth", "Teeth of the next one", lambda: None, is_number=True)
        show('<span class="lk-unit">T</span>')
        press_button("Open it", "record-teeth", _opened, form, item, is_first=True)
    for one in _read(stand, item):
        said = bench_words.last_reading(stand.words, one) if one.done is None else _done(stand, one)
        press_button(f"{one.point}: {said}", f"row-{one.key}", _go, stand, one.key, is_wide=True)
    with st.container(key="bench_ways_out", horizontal=True):
        press_button("That is all of them", "teeth-on", _on, stand, item)


def _read(stand: Stand, item: MeasureItem) -> list[MeasureItem]:
    place_of = (item.position, item.quantity)
    return [
        one
        for one in stand.bench.measures
        if one.point and (one.position, one.quantity) == place_of
    ]


def _done(stand: Stand, one: MeasureItem) -> str:
    if one.done is None:
        return "to come"
    verdict = f", {one.done.verdict}" if one.done.verdict else ""
    return f"{bench_words.span(stand.words, one.done)}{verdict}, in this job"


def _opened(form: Form, item: MeasureItem) -> None:
    """Open the reading of one tooth count."""
    typed = form.text("teeth").upper().removesuffix("T")
    if not typed.isdecimal() or not FEWEST <= int(typed) <= MOST:
        pieces.refuse(f"Teeth: a whole number from {FEWEST} to {MOST}, such as 17.", form.name)
        return
    form.throw_away("teeth")
    _go(form.stand, f"{item.position} {item.quantity} {int(typed)}T")


def _go(stand: Stand, item: str) -> None:
    stand.go(step="measure", item=item, form=TEETH)


def _on(stand: Stand, item: MeasureItem) -> None:
    """Go on after the last of them; a part without a reading is gone past."""
    listed = _read(stand, item)
    if not listed:
        stand.leave_out("measure", item.key)
    for one in listed:
        if one.done is None:
            stand.leave_out("measure", one.key)
    last = listed[-1].key if listed else item.key
    stand.go(step="measure", item=next_item(stand, "measure", last))


# -- what is on no list ------------------------------------------------------------------------


def other_view(stand: Stand) -> None:
    """Draw where and what: for a reading that a service does not ask for by itself."""
    pieces.head(stand, "measure", "Measure something else", "other")
    form = Form(stand, "measure other")
    form.begin(*FIELDS)
    place(form, lambda: None)
    quantities = {
        code: capital(word.label)
        for code, word in stand.words.vocabulary.quantities.items()
        if code not in ("torque", "pressure", "distance")
    }
    likely = ("tooth_wear", "thickness", "runout", "elongation", "play", "tension", "tread_depth")
    bench_form.pick(form, "quantity", "What is measured", quantities, likely, lambda: None)
    press_button("Open it", "other-open", _other, form, is_first=True)
    pieces.back(stand, "measure", ALL)


def _other(form: Form) -> None:
    position, quantity = form.value("position"), form.answer("quantity")
    if not position or not quantity:
        pieces.refuse("Say where, and what is measured.", form.name)
        return
    form.stand.go(step="measure", item=f"{position} {quantity}")
