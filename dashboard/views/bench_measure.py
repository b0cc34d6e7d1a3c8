"""Measure: one reading at a time, last value and limit beside it, the verdict as it is typed."""

from __future__ import annotations

import streamlit as st

from dashboard import bench_form, bench_html, bench_press, bench_words
from dashboard.bench_form import Form, NotRead, figure
from dashboard.bench_place import SHORT, go_after
from dashboard.bench_stand import Stand
from dashboard.markup import capital
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_pieces import press_button, show
from ledger.bench import drafts
from ledger.bench.measuring import judged
from ledger.bench.shapes import MeasureItem

FIELDS = ("value", "low", "high", "gauge", "plate", "point", "note")
VALUE, MARKS = "", "marks"
MORE = "more"
IN, STOPPED = "It goes in", "It does not go in"
PLATE = {"with": "With the backing plate", "without": "Without it: pad alone"}


def measure_view(stand: Stand, item: str | None) -> None:
    """Draw the reading that is open, or all of them."""
    found = next((one for one in stand.bench.measures if one.key == item), None)
    if found is None:
        _all(stand)
        return
    words = stand.words
    small = words.quantity(found.quantity)
    pieces.head(stand, "measure", bench_words.item_name(words, found), found.key, small)
    pieces.notes(stand, (found.position,))
    pieces.here_too(stand, (found.position,))
    if stand.asked.form == "not checked":
        pieces.not_checked(stand, "measure", found.key, found.position)
    else:
        _reading(stand, found)
    pieces.caution(stand, found.position, found.quantity)


def _reading(stand: Stand, item: MeasureItem) -> None:
    form = Form(stand, f"measure {item.key}", _usual(item))
    typed = form.begin(*FIELDS)
    _beside(stand, item)
    pieces.left_typed(
        form, {k: v for k, v in typed.items() if k in ("value", "low", "high", "note")}, *FIELDS
    )

    def keep() -> None:
        form.keep(*FIELDS)

    by_marks = (stand.asked.form == MARKS) != item.is_by_marks
    with st.container(key="bench_entry", horizontal=True, vertical_alignment="bottom"):
        if by_marks:
            _field(form, "low", "Mark that went in", keep, item)
            _field(form, "high", "Mark that did not", keep, item)
        else:
            _field(form, "value", "Reading", keep, item)
        show(f'<span class="lk-unit">{bench_words.unit(item.unit)}</span>')
        press_button("Record", "record-measure", _record, form, item, by_marks, is_first=True)
    _verdict(form, item, by_marks)
    if item.has_backing_plate is not None:
        bench_form.presses(form, "plate", "Measured", PLATE, keep)
    gauges = {one.gauge: bench_words.gauge(one) for one in item.gauges}
    if gauges:
        bench_form.presses(form, "gauge", "With", gauges, keep)
    if stand.asked.form == MORE:
        bench_form.line(form, "point", "Where on it, such as 17T or drive side", keep)
        bench_form.line(form, "note", "Note", keep)
    _ways(stand, item, by_marks)


def _usual(item: MeasureItem) -> dict[str, str | None]:
    """Give what stands in the form before anything is typed."""
    used = next((one.gauge for one in item.gauges if one.is_last_used), None)
    plate = (
        {True: "with", False: "without"}.get(item.has_backing_plate)
        if item.has_backing_plate is not None
        else None
    )
    return {"gauge": used, "plate": plate, "point": item.point}


def _field(
    form: Form, of: str, label: str, keep: pieces.Callable[[], None], item: MeasureItem
) -> None:
    bench_form.line(
        form,
        of,
        f"{label}, {bench_words.unit(item.unit) or 'count'}",
        keep,
        is_number=True,
        is_live=True,
    )


def _beside(stand: Stand, item: MeasureItem) -> None:
    words = stand.words
    facts = [
        ("Last", bench_words.last_reading(words, item), ""),
        ("Limit", bench_words.limit(words, item.limit), bench_words.limit_source(item.limit)),
    ]
    if item.done is not None:
        facts.insert(0, ("This job", bench_words.span(words, item.done), item.done.verdict or ""))
    show(bench_html.beside(facts))


def _verdict(form: Form, item: MeasureItem, by_marks: bool) -> None:
    """Draw the verdict the book would keep of what is typed."""
    if not any(form.text(of) for of in (("low", "high") if by_marks else ("value",))):
        show('<div class="lk-judged lk-judged-none">The verdict shows here as you type.</div>')
        return
    try:
        found = judged(form.stand.book, form.stand.bench, _draft(form, item, by_marks))
    except NotRead as error:
        show(bench_html.judged(None, [str(error)], is_refused=True))
        return
    told = found.problems or found.warnings
    show(bench_html.judged(found.verdict, told, is_refused=bool(found.problems)))


def _draft(form: Form, item: MeasureItem, by_marks: bool) -> drafts.Draft:
    """Give the reading as it is typed; raises NotRead."""

    def amount(of: str) -> dict[str, str] | None:
        words = form.text(of)
        return drafts.amount(figure(words, "Reading"), item.unit) if words else None

    amounts = {of: amount(of) for of in (("low", "high") if by_marks else ("value",))}
    if not any(amounts.values()):
        raise NotRead("Type the reading first, or leave it out.")
    plate = form.value("plate")
    entered = item.last_entered or {}
    return drafts.measured(
        form.stand.hand,
        form.id,
        item.position,
        item.quantity,
        **amounts,
        point=form.text("point") or item.point,
        gauge=form.value("gauge"),
        over_pitches=entered.get("over_pitches"),
        has_backing_plate=None if plate is None else plate == "with",
        note=form.text("note") or None,
    )


def _record(form: Form, item: MeasureItem, by_marks: bool) -> None:
    stand = form.stand
    pieces.record(
        form, lambda: [_draft(form, item, by_marks)], lambda: go_after(stand, "measure", item.key)
    )


def _ways(stand: Stand, item: MeasureItem, by_marks: bool) -> None:
    """Draw the ways round the entry: leave it out, not checked, by marks, more to say."""
    other = VALUE if stand.asked.form == MARKS else MARKS
    with st.container(key="bench_ways_out", horizontal=True):
        press_button("Leave out", f"leave-{item.key}", pieces.leave_out, stand, "measure", item.key)
        for label, form in (
            ("Not checked", "not checked"),
            ("With a figure" if by_marks else "By go and no-go marks", other),
            ("More to say", MORE),
        ):
            press_button(label, f"way-{label}", _open, stand, item, form)


def _open(stand: Stand, item: MeasureItem, form: str) -> None:
    bench_press.hear(None)
    stand.go(step="measure", item=item.key, form=form)


def _all(stand: Stand) -> None:
    """Draw every reading as a row to press, with what this job has of it."""
    show(bench_html.item(SHORT["measure"], "Every reading", "measure all"))
    pieces.refusal(stand)
    words = stand.words
    for item in stand.bench.measures:
        name = f"{capital(bench_words.item_name(words, item))}, {words.quantity(item.quantity)}"
        said = "to come" if item.done is None else bench_words.span(words, item.done)
        verdict = f", {item.done.verdict}" if item.done is not None and item.done.verdict else ""
        press_button(
            f"{name}: {said}{verdict}", f"row-{item.key}", _open, stand, item, "", is_wide=True
        )
    press_button("Go on", "on-measure", pieces.go_on, stand, "measure", is_first=True)
