"""Inspect: one system at a time, the rest of it in one press, what is found in a few."""

from __future__ import annotations

import streamlit as st

from dashboard import bench_form, bench_html, bench_words
from dashboard.bench_form import Form
from dashboard.bench_place import go_after
from dashboard.bench_stand import Stand
from dashboard.markup import capital
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_pieces import press_button, show
from ledger.bench import drafts
from ledger.bench.shapes import SystemLook

FOUND = ("watch", "due", "unsafe")
FIELDS = ("position", "fault", "other_fault", "cause", "other_cause", "note")


def inspect_view(stand: Stand, item: str | None) -> None:
    """Draw the system that is open, or all of them."""
    system = next((one for one in stand.bench.systems if one.system == item), None)
    if system is None:
        _all(stand)
        return
    form = stand.asked.form
    pieces.head(stand, "inspect", stand.words.system(system.system), system.system)
    pieces.notes(stand, system.positions)
    pieces.here_too(stand, system.positions)
    if form in FOUND:
        _found(stand, system, form)
    elif form == "not checked":
        pieces.not_checked(stand, "inspect", system.system, system.system)
    else:
        _system(stand, system)
    pieces.caution(stand, system.system)


def _system(stand: Stand, system: SystemLook) -> None:
    """Draw the presses over one system, and exactly what the first of them covers."""
    words, rest = stand.words, system.rest
    name = words.system(system.system)
    show(bench_html.beside([("Last look", bench_words.look(words, system.last), "")]))
    found = [
        (words.position(one.position), words.fault(one.fault) if one.fault else "", one.verdict)
        for one in system.looks
        if one.is_of_this_job and one.position != system.system and not one.is_covered
    ]
    if found:
        show(bench_html.rows(found))
    label = _rest_label(stand, system, bool(found))
    stands = _unsafe_stands(stand, system)
    show(bench_html.note(stands) if stands else "")
    if rest.covers:
        press_button(label, f"rest-{system.system}", _rest, stand, system, is_first=True)
        show(bench_html.listed("Covers", [capital(bench_words.names(words, rest.covers))]))
    else:
        show(bench_html.note(f"Nothing of {name} is left that could be called within limit."))
        pieces.unchecked_press(stand, "inspect", system.system, is_first=True)
    show(bench_html.listed("Does not cover", bench_words.not_covered(words, rest.uncovered)))
    with st.container(key="bench_found", horizontal=True):
        for verdict in FOUND:
            press_button(
                f"Found: {verdict}",
                f"verdict-{verdict}",
                lambda verdict=verdict: stand.go(step="inspect", item=system.system, form=verdict),
            )
    pieces.ways_out(stand, "inspect", system.system, has_unchecked=bool(rest.covers))


def _unsafe_at(stand: Stand, system: SystemLook) -> list[str]:
    """Give where in a system something was found unsafe that nothing has put right."""
    found = [one.position for one in stand.bench.hand_back.unsafe]
    return [position for position in system.positions if position in found]


def _rest_label(stand: Stand, system: SystemLook, has_found: bool) -> str:
    """Give what the big press says of a system: all of it, the rest, or all of it anew."""
    name = stand.words.system(system.system)
    if has_found or _unsafe_at(stand, system):
        return f"Rest of {name} within limit"
    was_unsafe = system.last is not None and system.last.verdict == "unsafe"
    if was_unsafe and system.rest.position == system.system:
        return f"{capital(name)} within limit again, looked at anew"
    return f"{capital(name)} within limit"


def _unsafe_stands(stand: Stand, system: SystemLook) -> str:
    """Say what the big press leaves as it is; empty where nothing is unsafe."""
    unsafe = _unsafe_at(stand, system)
    if not unsafe:
        return ""
    left = capital(bench_words.names(stand.words, unsafe))
    return f"{left}: the unsafe finding stands until it is put right or looked at again."


def _rest(stand: Stand, system: SystemLook) -> None:
    name = f"rest {system.system}"
    made = [drafts.rest_within(stand.hand, stand.event_id(name), system.rest)]
    stand.press(name, lambda: made, on_done=lambda: go_after(stand, "inspect", system.system))


# -- what is found -----------------------------------------------------------------------------


def _found(stand: Stand, system: SystemLook, verdict: str) -> None:
    """Draw what a finding says: where, which fault, which cause, a note."""
    form = Form(stand, f"found {system.system} {verdict}")
    typed = form.begin(*FIELDS)
    pieces.left_typed(form, typed, *FIELDS)

    def keep() -> None:
        form.keep(*FIELDS)

    words, known = stand.words, stand.words.vocabulary
    with st.container(key=f"verdict-chosen-{verdict}"):
        show(bench_html.judged(verdict, ()))
    places = {code: capital(words.position(code)) for code in system.positions}
    bench_form.presses(form, "position", "Where", places, keep)
    faults = {code: capital(words.fault(code)) for code in known.faults}
    likely = bench_words.LIKELY_FAULTS.get(system.system, ())
    bench_form.pick(form, "fault", "Fault", faults, likely, keep)
    causes = {code: capital(words.cause(code)) for code in known.causes}
    bench_form.listed(form, "other_cause", "Cause, where it is known", causes, keep)
    bench_form.line(form, "note", "Note", keep)
    press_button(
        f"Record: {verdict}",
        f"record-found-{verdict}",
        _record_found,
        form,
        system,
        verdict,
        is_first=True,
    )
    pieces.back(stand, "inspect", system.system)


def _record_found(form: Form, system: SystemLook, verdict: str) -> None:
    stand = form.stand
    fault = form.answer("fault")
    position = form.value("position") or system.system
    pieces.record(
        form,
        lambda: [
            drafts.found(
                stand.hand,
                form.id,
                position,
                verdict,
                fault=fault,
                cause=form.answer("cause"),
                note=form.text("note"),
            )
        ],
        lambda: stand.go(step="inspect", item=system.system),
    )


# -- every system ------------------------------------------------------------------------------


def _all(stand: Stand) -> None:
    """Draw every system as a row to press, with what this job says of it."""
    with pieces.whole(stand, "inspect", "Every system"):
        for system in stand.bench.systems:
            name = capital(stand.words.system(system.system))
            said = bench_words.look(stand.words, system.last) if system.is_done else "to come"
            found = f", {system.count_found} found" if system.count_found else ""
            press_button(
                f"{name}: {said}{found}",
                f"row-{system.system}",
                lambda key=system.system: stand.go(step="inspect", item=key),
                is_wide=True,
            )
