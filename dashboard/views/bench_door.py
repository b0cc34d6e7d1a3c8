"""Handing back: what is unsafe told and answered first, the test ride, warnings; then the bill."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from dashboard import bench_form, bench_html, bench_told, bench_words
from dashboard.bench_form import NO, YES, Form, NotRead, minor
from dashboard.bench_stand import Stand
from dashboard.markup import capital
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_money import ANSWERS, line_name
from dashboard.views.bench_people import fields_of, person
from dashboard.views.bench_pieces import press_button, show
from dashboard.views.bench_work import place
from ledger.bench import drafts, walk
from ledger.bench.handing_back import charge_lines
from ledger.bench.shapes import UnsafeStanding
from ledger.errors import LedgerError

FIELDS = ("ridden", "why", "why_words", "rechecked", *fields_of("handed_to"))
WARNING = ("position", "system", "warning")


def hand_back_view(stand: Stand, item: str | None) -> None:
    """Draw what stands between the work and the door: the unsafe first, then the release."""
    back = stand.bench.hand_back
    waiting = [one for one in back.unsafe if not one.is_settled]
    if stand.asked.form == "warn":
        _warn(stand)
        return
    if waiting:
        _unsafe(stand, waiting[0])
        return
    pieces.head(stand, "hand_back", "Hand back")
    _standing(stand)
    if back.is_released:
        press_button("Go on", "on-hand_back", pieces.go_on, stand, "hand_back", is_first=True)
        return
    _release(stand)


def _standing(stand: Stand) -> None:
    """Draw what is past its limit, open or untorqued: whoever hands back should know it."""
    words, back = stand.words, stand.bench.hand_back
    past = [
        (words.place(one.position, one.point), bench_words.span(words, one), one.verdict)
        for one in back.past_limits
    ]
    faults = [
        (words.position(one.position), words.fault(one.fault), one.verdict) for one in back.faults
    ]
    judged = [
        (words.position(one.position), "nothing named", one.verdict) for one in stand.bench.findings
    ]
    if past or faults or judged:
        show(bench_html.rows([*past, *faults, *judged]))
    untorqued = [capital(words.position(code)) for code in back.untorqued]
    show(bench_html.listed("Disturbed and not torqued since", untorqued))


# -- unsafe ------------------------------------------------------------------------------------


def _unsafe(stand: Stand, one: UnsafeStanding) -> None:
    name = stand.words.position(one.position)
    pieces.head(
        stand,
        "hand_back",
        f"{capital(name)} was found unsafe",
        f"unsafe {one.position} {one.told}",
        "It is not put right. The keeper must be told, and answer, before the job is closed.",
    )
    form = Form(stand, f"unsafe {one.position}", {"how": "in person"})
    if one.told is None:
        typed = form.begin("advice")
        pieces.left_typed(form, typed, "advice")
        bench_form.line(form, "advice", "What the keeper is told", lambda: form.keep("advice"))
        press_button("Record: told", f"told-{one.position}", _told, form, one, is_first=True)
    else:
        form.begin("how")
        channels = {how: capital(how) for how in walk.CHANNELS}
        bench_form.presses(form, "how", "How the answer came", channels, lambda: None)
        with st.container(key="bench_answers", horizontal=True):
            for answer in ANSWERS:
                press_button(capital(answer), f"keeper-{answer}", _keeper, form, one, answer)
        if one.answer == "no reply":
            show(bench_html.note("No reply so far: the job stays open until the keeper answers."))
    show(
        bench_html.caution(
            "An answer never makes it fit to be ridden where local rules forbid it. "
            + bench_words.CAUTION
        )
    )


def _told(form: Form, one: UnsafeStanding) -> None:
    stand = form.stand

    def make() -> list[drafts.Draft]:
        if not form.text("advice"):
            raise NotRead("Say what the keeper is told.")
        return [
            drafts.advised(
                stand.hand, form.id, one.position, "unsafe", "now", advice=form.text("advice")
            )
        ]

    pieces.record(form, make, lambda: stand.go(step="hand_back"))


def _keeper(form: Form, one: UnsafeStanding, answer: str) -> None:
    stand, name = form.stand, f"keeper {one.told} {answer}"
    how = form.value("how") or "in person"
    stand.press(
        name,
        lambda: [drafts.answered(stand.hand, stand.event_id(name), one.told or "", answer, how)],
        on_done=lambda: stand.go(step="hand_back"),
    )


# -- the release -------------------------------------------------------------------------------


def _release(stand: Stand) -> None:
    words = stand.words
    form = Form(stand, "hand back", {"rechecked": []})
    typed = form.begin(*FIELDS)
    pieces.left_typed(form, typed, *FIELDS)

    def keep() -> None:
        form.keep(*FIELDS)

    bench_form.presses(form, "ridden", "Test ridden", {YES: YES, NO: NO}, keep)
    if form.value("ridden") == NO:
        whys = {why: capital(why) for why in bench_words.WHY_NOT_RIDDEN}
        bench_form.presses(form, "why", "Why not", whys, keep)
        bench_form.line(form, "why_words", "Or in words", keep)
    rechecks = {code: capital(words.position(code)) for code in stand.bench.hand_back.rechecks}
    if rechecks:
        bench_form.presses(form, "rechecked", "Rechecked", rechecks, keep, is_many=True)
    warnings = _warnings(stand)
    show(
        bench_html.listed(
            "Warned",
            [f"{capital(words.position(one['position']))}: {one['warning']}" for one in warnings],
        )
    )
    press_button("Record the hand-back", "record-release", _released, form, is_first=True)
    with st.expander("More: handed to somebody else"):
        person(form, "handed_to", "Handed to", keep)
    with st.container(key="bench_ways_out", horizontal=True):
        press_button("Give a warning", "way-warn", lambda: stand.go(step="hand_back", form="warn"))
    show(bench_html.caution(bench_words.CAUTION))


def _warnings(stand: Stand) -> list[dict[str, str]]:
    return list(stand.kept("warnings").get("warnings", []))


def _released(form: Form) -> None:
    stand = form.stand

    def make() -> list[drafts.Draft]:
        ridden = form.value("ridden")
        why = form.text("why_words") or form.value("why")
        if ridden is None:
            raise NotRead("Say whether it was test ridden.")
        if ridden == NO and not why:
            raise NotRead("Say why it was not test ridden.")
        return [
            drafts.released(
                stand.hand,
                form.id,
                ridden == YES,
                why_not_ridden=None if ridden == YES else why,
                rechecked=form.value("rechecked") or (),
                warnings=_warnings(stand),
                handed_to=form.value("handed_to"),
            )
        ]

    def done() -> None:
        stand.throw_away("warnings")
        stand.go(step="close")

    pieces.record(form, make, done)


def _warn(stand: Stand) -> None:
    """Draw the form of one warning; it is recorded with the hand-back."""
    pieces.head(stand, "hand_back", "A warning", "warn")
    form = Form(stand, "warning")
    pieces.left_typed(form, form.begin(*WARNING), *WARNING)
    place(form, lambda: form.keep(*WARNING))
    bench_form.line(form, "warning", "What was said", lambda: form.keep(*WARNING))
    press_button("Keep for the hand-back", "keep-warning", _warned, form, is_first=True)
    pieces.back(stand, "hand_back")


def _warned(form: Form) -> None:
    stand = form.stand
    if not form.value("position") or not form.text("warning"):
        pieces.refuse("Say where, and what was said.", form.name)
        return
    one = {"position": form.value("position"), "warning": form.text("warning")}
    stand.keep("warnings", {"warnings": [*_warnings(stand), one]})
    stand.throw_away(form.name)
    stand.go(step="hand_back")


# -- the bill ----------------------------------------------------------------------------------


def close_view(stand: Stand, item: str | None) -> None:
    """Draw the charged lines, what closing would warn of, and the press that ends the job."""
    back = stand.bench.hand_back
    pieces.head(stand, "close", "Close the job")
    form = Form(stand, "close")
    up_to = [one for one in back.charges if one.form == "up to" and one.line.line_type == "labour"]
    fields = ("note", *(one.line.line for one in up_to))
    form.begin(*fields)
    charged = [
        (line_name(stand, one.line.model_dump()), stand.money.money(one.gross_minor), None)
        for one in back.charges
    ]
    show(bench_html.rows(charged) if charged else bench_html.note("Nothing is charged."))
    if charged:
        total = sum(one.gross_minor for one in back.charges)
        show(bench_html.note(f"{stand.money.money(total)} with tax: every line answered with yes."))
    for one in up_to:
        name = capital(line_name(stand, one.line.model_dump()))
        label = f"{name} came to, {stand.money.currency}, at most"
        bench_form.line(
            form,
            one.line.line,
            f"{label} {stand.money.money(one.line.net_minor)}",
            lambda: form.keep(*fields),
            is_number=True,
        )
    show(
        bench_html.listed(
            "Not answered, so not charged",
            [line_name(stand, one.line.model_dump()) for one in back.unanswered],
        )
        + bench_html.listed("Before it can be closed", _said(stand, back.stops))
        + bench_html.listed("To know", _said(stand, back.tells))
    )
    press_button(
        "Close the job", "close-job", _closed, form, is_first=True, is_off=bool(back.stops)
    )


def _said(stand: Stand, sentences: Sequence[str]) -> list[str]:
    """Give what the book says of closing, in the words of the page."""
    return [capital(bench_told.in_words(stand.words, one)) for one in sentences]


def _closed(form: Form) -> None:
    stand, back = form.stand, form.stand.bench.hand_back

    def make() -> list[drafts.Draft]:
        digits = stand.book.settings.minor_digits
        came_to = {
            one.line.line: minor(form.text(one.line.line), digits, "Came to")
            for one in back.charges
            if form.text(one.line.line)
        }
        try:
            lines: list[dict[str, Any]] = charge_lines(stand.book, stand.bench, came_to)
        except (LedgerError, ValueError) as error:
            raise NotRead(str(error)) from None
        return [drafts.closed(stand.hand, form.id, lines, stand.book.settings.currency)]

    pieces.record(form, make, lambda: stand.go(step="", job=""))
