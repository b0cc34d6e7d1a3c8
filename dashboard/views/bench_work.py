"""Work between the answer and the torque pass: what was done, in any order, each a short form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import streamlit as st

from dashboard import bench_form, bench_html, bench_words
from dashboard.bench_form import Form, payload
from dashboard.bench_stand import Stand
from dashboard.markup import capital
from dashboard.views import bench_makers, bench_search
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_pieces import press_button, show
from ledger.bench import drafts, walk
from ledger.bench.walk import Ask, Step

KINDS = {step.key: step for step in walk.WORK}
LABELS = {
    "fit": "Fit a part",
    "remove": "Take a part off",
    "adjust": "Adjust",
    "treat": "Treat",
    "search": "Search for a cause",
    "labour": "Minutes",
    "goodwill": "Goodwill",
    "advise": "Advice to the keeper",
    "note": "Standing note",
}
MORE = frozenset(
    {
        "model",
        "batch",
        "is_found",
        "puts_right.fault",
        "before",
        "note",
        "kept",
        "cause",
        "is_preventive",
        "minutes_kind",
        "origin",
    }
)
"""What is asked under "more": most entries say nothing of it."""
MORE_OF = (*bench_search.FIELDS, *bench_makers.RANGE)
"""What is typed besides what the walk asks."""


def work_view(stand: Stand, item: str | None) -> None:
    """Draw what can be done as big choices, or the short form of the one chosen."""
    step = KINDS.get(stand.asked.form)
    if step is not None:
        _form(stand, step)
        return
    pieces.head(stand, "work", "What is done next?")
    show(bench_html.listed("Open on this bike", _open(stand)))
    with st.container(key="bench_kinds"):
        for key, label in LABELS.items():
            press_button(label, f"kind-{key}", lambda key=key: stand.go(step="work", form=key))
        press_button("Quote what was found later", "kind-quote", lambda: stand.go(step="quote"))
    done = [
        bench_words.entry_line(stand.words, one)
        for one in stand.bench.entries
        if one.step == "work"
    ]
    show(bench_html.listed("Done so far", done))
    press_button("Nothing more: go on", "on-work", pieces.go_on, stand, "work", is_first=True)


def _open(stand: Stand) -> list[str]:
    """Give the faults that are open, and what is past its limit."""
    words = stand.words
    faults = [
        f"{capital(words.position(one.position))}: {words.fault(one.fault)},"
        f" {one.verdict or 'found'}"
        for one in stand.bench.faults
    ]
    past = [
        f"{capital(words.position(one.position))}: {bench_words.span(words, one)}, {one.verdict}"
        for one in stand.bench.hand_back.past_limits
    ]
    judged = [
        f"{capital(words.position(one.position))}: judged {one.verdict}, nothing named"
        for one in stand.bench.findings
    ]
    return [*faults, *judged, *past]


# -- one form ----------------------------------------------------------------------------------


def _form(stand: Stand, step: Step) -> None:
    asks = _asks(stand, step)
    asked = [ask.field for ask in asks]
    fields = tuple(dict.fromkeys([*asked, *(f"other_{one}" for one in asked), "system", *MORE_OF]))
    form = Form(stand, f"work {step.key}", {ask.field: ask.default for ask in asks if ask.default})
    pieces.head(stand, "work", LABELS[step.key])
    typed = form.begin(*fields)
    pieces.left_typed(form, {k: v for k, v in typed.items() if v != form.defaults.get(k)}, *fields)

    def keep() -> None:
        form.keep(*fields)

    if any(ask.field == "position" for ask in asks):
        place(form, keep, is_needed=step.key != "goodwill")
        pieces.notes(stand, [form.value("position")] if form.value("position") else [])
    plain = [ask for ask in asks if ask.field != "position"]
    first, later = [a for a in plain if a.field not in MORE], [a for a in plain if a.field in MORE]
    bench_form.draw(form, first, keep)
    if step.key == "adjust" and form.answer("quantity"):
        show(bench_html.note(f"In {_unit(stand, form)}."))
    if step.key == "search":
        bench_search.draw(form, keep)
    press_button("Record", f"record-{step.key}", _record, form, step, asks, is_first=True)
    if later:
        with st.expander("More to say"):
            bench_form.draw(form, later, keep)
            bench_makers.draw(form, step.key, keep)
    press_button("Back", "back-work", lambda: stand.go(step="work"))
    if form.value("position"):
        pieces.caution(stand, form.value("position"))


def place(form: Form, keep: pieces.Callable[[], None], *, is_needed: bool = True) -> None:
    """Draw where on the bike: what this job found first, then by system."""
    stand, words = form.stand, form.stand.words
    likely = _likely(stand)
    systems = {one.system: one for one in stand.bench.systems}
    chosen = systems.get(form.value("system") or "")
    places = list(chosen.positions) if chosen else likely
    now = form.value("position")
    if now and now not in places:
        places = [now, *places]
    offered = {code: capital(words.position(code)) for code in places}
    named = {code: capital(words.system(code)) for code in systems}
    label = "Where" if is_needed else "Where, if anywhere"
    if offered:
        bench_form.presses(form, "position", label, offered, keep)
    bench_form.presses(form, "system", "Elsewhere on" if likely else "On", named, keep)


def _likely(stand: Stand) -> list[str]:
    """Give the positions that this job is about: worked on, found, past a limit, or quoted."""
    bench = stand.bench
    found = [one.position for one in (*bench.faults, *bench.findings)]
    past = [one.position for one in bench.hand_back.past_limits]
    quoted = [one.line.position for one in bench.quoted if one.line.position]
    worked = [one.position for one in bench.entries if one.step == "work" and one.position]
    watched = [one.position for one in bench.measures if one.done and one.done.verdict == "watch"]
    return list(dict.fromkeys([*worked[:3], *past, *found, *quoted, *watched]))[:8]


def _asks(stand: Stand, step: Step) -> tuple[Ask, ...]:
    """Give what a form asks; where a cure is asked, only of the faults that are open."""
    faults = {one.fault for one in stand.bench.faults}
    asks = []
    for ask in step.asks:
        if ask.field == "puts_right.fault":
            if not faults:
                continue
            ask = replace(ask, choices=tuple(sorted(faults)), of="")
        asks.append(ask)
    return tuple(asks)


def _unit(stand: Stand, form: Form) -> str:
    word = stand.words.vocabulary.quantities.get(form.answer("quantity") or "")
    return word.unit if word else ""


def _record(form: Form, step: Step, asks: Sequence[Ask]) -> None:
    stand = form.stand

    def make() -> list[drafts.Draft]:
        found = payload(form, asks, _unit(stand, form)) | bench_makers.read(form, step.key)
        if step.key == "search":
            found["steps"] = bench_search.read(form) or None
        return [_draft(form, step, found)]

    def on_done() -> None:
        if step.key == "search":
            bench_search.forget(stand)
        stand.go(step="work")

    pieces.record(form, make, on_done)


def _draft(form: Form, step: Step, found: dict[str, Any]) -> drafts.Draft:
    """Give the event of a form, with what the bench knows and nobody needs to type."""
    stand, bench = form.stand, form.stand.bench
    if step.kind == "part_fitted":
        there = next((p.part for p in bench.fitted if p.position == found["position"]), None)
        found["replaces"] = None if found.get("is_found") else there
    if step.kind == "goodwill_given" and "value_minor" in found:
        found["currency"] = stand.book.settings.currency
    at = _found_at(stand, found)
    if at is not None:
        found["puts_right.position"] = at
    return drafts.draft(stand.hand, step.kind, form.id, found)


def _found_at(stand: Stand, found: dict[str, Any]) -> str | None:
    """Give where the fault put right was found, if that was elsewhere in the same system."""
    fault = found.get("puts_right.fault")
    if fault is None:
        return None
    system = stand.words.system_of(found["position"])
    same = [
        one.position
        for one in stand.bench.faults
        if one.fault == fault and stand.words.system_of(one.position) == system
    ]
    return same[0] if len(same) == 1 and same != [found["position"]] else None
