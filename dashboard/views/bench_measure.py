"""Measure: one reading at a time, last value and limit beside it, the verdict as it is typed."""

from __future__ import annotations

import streamlit as st

from dashboard import bench_form, bench_html, bench_press, bench_words
from dashboard.bench_form import Form, NotRead
from dashboard.bench_place import ALL, go_after
from dashboard.bench_reading import (
    LENGTH,
    MARKS,
    MODES,
    TYPED,
    chosen_marks,
    draft_of,
    mark_choices,
    marks_known,
    mode_of,
    usual_mode,
)
from dashboard.bench_stand import Stand
from dashboard.markup import capital
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_pieces import press_button, show
from dashboard.views.bench_teeth import OTHER, TEETH, WORN, other_view, teeth_view
from ledger.bench.measuring import item_named, judged
from ledger.bench.shapes import MeasureItem

FIELDS = ("value", "low", "high", "pitches", "zero", "gauge", "plate", "point", "limit", "note")
MORE = "more"
PLATE = {"with": "With the backing plate", "without": "Without it: pad alone"}
WAYS = {"figure": "With a figure", "marks": "By go and no-go marks", "length": "As a length"}


def measure_view(stand: Stand, item: str | None) -> None:
    """Draw the reading that is open, the sprockets one by one, or all readings."""
    found = item_named(stand.book, stand.bench, item or "")
    if found is None:
        (other_view if stand.asked.form == OTHER else _all)(stand)
        return
    words = stand.words
    small = words.quantity(found.quantity)
    pieces.head(stand, "measure", bench_words.item_name(words, found), found.key, small)
    with pieces.around(stand, "measure", found.key, found.position, found.quantity) as is_entry:
        if is_entry:
            is_by_teeth = stand.asked.form == TEETH and found.point is None
            (teeth_view if is_by_teeth else _reading)(stand, found)


def _reading(stand: Stand, item: MeasureItem) -> None:
    form, mode = Form(stand, f"measure {item.key}", _usual(item)), mode_of(stand, item)
    typed = form.begin(*FIELDS)
    _beside(stand, item)
    pieces.left_typed(
        form, {k: v for k, v in typed.items() if k in ("value", "low", "high", "note")}, *FIELDS
    )

    def keep() -> None:
        form.keep(*FIELDS)

    if mode == MARKS:
        _marks(form, item, keep)
    _entry(form, item, mode, keep)
    _verdict(form, item, mode)
    if item.has_backing_plate is not None:
        bench_form.presses(form, "plate", "Measured", PLATE, keep)
    gauges = {one.gauge: bench_words.gauge(one) for one in item.gauges}
    if gauges:
        bench_form.presses(form, "gauge", "With", gauges, keep)
    if stand.asked.form == MORE:
        unit = bench_words.unit(item.canonical_unit)
        bench_form.line(form, "limit", f"Maker's limit, {unit}", keep, is_number=True)
        bench_form.line(form, "point", "Where on it, such as 17T or drive side", keep)
        bench_form.line(form, "note", "Note", keep)
    _ways(stand, item, mode)


def _marks(form: Form, item: MeasureItem, keep: pieces.Callable[[], None]) -> None:
    """Offer what a gauge with the usual marks can say; what is typed instead stands as well."""
    offered = mark_choices(marks_known(item), form.stand.words.formats)
    if not offered:
        return
    pressed = chosen_marks(form.text("low"), form.text("high"))
    form.put("marks", pressed if pressed in offered else None)

    def press() -> None:
        low, _, high = str(form.value("marks") or "").partition("|")
        form.put("low", low)
        form.put("high", high)
        keep()

    unit = bench_words.unit(item.unit)
    bench_form.presses(form, "marks", f"The gauge, {unit}" if unit else "The gauge", offered, press)


def _entry(form: Form, item: MeasureItem, mode: str, keep: pieces.Callable[[], None]) -> None:
    """Draw the figure, or the two or three of them, and the press beside it."""
    unit = bench_words.unit(TYPED[mode] or item.unit)
    if mode == "figure" and usual_mode(item) == LENGTH:
        unit = bench_words.unit(item.canonical_unit)
    labels = {
        "figure": {"value": f"Reading, {unit or 'count'}"},
        "marks": {of: f"{said}, {unit or 'count'}" for of, said in
                  (("low", "Mark that went in"), ("high", "Mark that did not"))},
        "length": {"value": f"Length, {unit}", "pitches": "Over so many links",
                   "zero": f"When new, {unit}, if known"},
    }[mode]  # fmt: skip
    with st.container(key="bench_entry", horizontal=True, vertical_alignment="bottom"):
        for of, label in labels.items():
            bench_form.line(form, of, label, keep, is_number=True, is_live=True)
        show(f'<span class="lk-unit">{unit}</span>')
        press_button("Record", "record-measure", _record, form, item, mode, is_first=True)


def _usual(item: MeasureItem) -> dict[str, str | None]:
    """Give what stands in the form before anything is typed."""
    used = next((one.gauge for one in item.gauges if one.is_last_used), None)
    plate = {True: "with", False: "without"}
    entered, is_same = item.last_entered or {}, not item.is_of_an_earlier_part
    zero = (entered.get("length_when_new") or {}).get("value") if is_same else None
    pitches = entered.get("over_pitches")
    return {
        "gauge": used,
        "plate": None if item.has_backing_plate is None else plate[item.has_backing_plate],
        "point": item.point,
        "pitches": str(pitches) if pitches else None,
        "zero": zero,
    }


def _beside(stand: Stand, item: MeasureItem) -> None:
    words = stand.words
    facts = [
        ("Last", bench_words.last_reading(words, item), ""),
        ("Limit", bench_words.limit(words, item.limit), bench_words.limit_source(item.limit)),
    ]
    if item.done is not None:
        facts.insert(0, ("This job", bench_words.span(words, item.done), item.done.verdict or ""))
    show(bench_html.beside(facts))


def _verdict(form: Form, item: MeasureItem, mode: str) -> None:
    """Draw the verdict the book would keep of what is typed."""
    if not any(form.text(of) for of in MODES[mode]):
        show('<div class="lk-judged lk-judged-none">The verdict shows here as you type.</div>')
        return
    try:
        found = judged(form.stand.book, form.stand.bench, draft_of(form, item, mode))
    except NotRead as error:
        show(bench_html.judged(None, [str(error)], is_refused=True))
        return
    told = found.problems or found.warnings
    show(bench_html.judged(found.verdict, told, is_refused=bool(found.problems)))


def _record(form: Form, item: MeasureItem, mode: str) -> None:
    stand = form.stand

    def done() -> None:
        if stand.asked.form == TEETH:
            whole = f"{item.position} {item.quantity}"
            stand.go(step="measure", item=whole, form=TEETH)
        else:
            go_after(stand, "measure", item.key)

    pieces.record(form, lambda: [draft_of(form, item, mode)], done)


def _ways(stand: Stand, item: MeasureItem, mode: str) -> None:
    """Draw the ways round the entry: leave it out, not checked, otherwise, tooth by tooth, more."""
    ways = [("Not checked", "not checked")]
    ways += [(WAYS[other], other) for other in _others(item, mode)]
    with st.container(key="bench_ways_out", horizontal=True):
        press_button("Leave out", f"leave-{item.key}", pieces.leave_out, stand, "measure", item.key)
        for label, form in (*ways, ("More to say", MORE)):
            press_button(label, f"way-{label}", _open, stand, item.key, form)
        if item.quantity == WORN:
            whole = f"{item.position} {item.quantity}"
            press_button("Tooth count by tooth count", "way-teeth", _open, stand, whole, TEETH)


def _others(item: MeasureItem, mode: str) -> list[str]:
    """Give the other ways to enter a reading; a length is one of a chain alone."""
    is_chain = item.quantity == "elongation"
    return [one for one in MODES if one != mode and (one != LENGTH or is_chain)]


def _open(stand: Stand, item: str, form: str) -> None:
    bench_press.hear(None)
    stand.go(step="measure", item=item, form=form)


def _all(stand: Stand) -> None:
    """Draw every reading as a row to press, with what this job has of it."""
    words = stand.words
    with pieces.whole(stand, "measure", "Every reading"):
        for item in stand.bench.measures:
            name = f"{capital(bench_words.item_name(words, item))}, {words.quantity(item.quantity)}"
            said = "to come" if item.done is None else bench_words.span(words, item.done)
            verdict = f", {item.done.verdict}" if item.done and item.done.verdict else ""
            row = f"{name}: {said}{verdict}"
            press_button(row, f"row-{item.key}", _open, stand, item.key, "", is_wide=True)
        press_button("Measure something else", "measure-other", _open, stand, ALL, OTHER)
