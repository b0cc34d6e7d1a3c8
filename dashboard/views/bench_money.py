"""The quote and its answer at the bench: lines with a press each, the keeper's word on each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import streamlit as st

from dashboard import bench_form, bench_html, bench_press, bench_words, bench_worked
from dashboard.bench_form import Form, NotRead, payload
from dashboard.bench_place import ALL, next_step
from dashboard.bench_stand import Stand
from dashboard.markup import capital
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_people import fields_of, person
from dashboard.views.bench_pieces import press_button, show
from ledger import quotes
from ledger.bench import drafts, walk
from ledger.bench.walked import short_code
from ledger.quotes import QuotedLine

LINES = "quote lines"
GIVEN = ("form", *fields_of("payer"))
LINE_ASKS = {
    kind: tuple(
        ask
        for ask in walk.LINE
        if ask.field in fields and (ask.only_if is None or kind in ask.only_if[1])
    )
    for kind, fields in (
        ("labour", ("code", "minutes", "net_minor")),
        ("part", ("code", "net_minor", "position")),
        ("other", ("code", "net_minor")),
    )
}
KINDS = {"labour": "Labour", "part": "Part", "other": "Something else"}
ANSWERS = ("yes", "no", "later", "no reply")
Line = dict[str, Any]


def quote_view(stand: Stand, item: str | None) -> None:
    """Draw the lines gathered so far, what adds one, and the press that gives the quote."""
    if stand.asked.form in LINE_ASKS:
        _line(stand, stand.asked.form)
        return
    lines = _gathered(stand)
    is_later = bool(stand.bench.quoted)
    pieces.head(stand, "quote", "Found later" if is_later else "Quote")
    if stand.bench.quoted:
        show(bench_html.rows([_row(stand, one) for one in stand.bench.quoted]))
    if lines:
        said = [
            (line_name(stand, line), stand.money.money(line["net_minor"]), None) for line in lines
        ]
        show(bench_html.rows(said))
        total = sum(line["net_minor"] for line in lines)
        show(bench_html.note(f"{stand.money.money(total)} before tax."))
    found = _found(stand)
    show(bench_html.listed("Found in this job", found))
    with st.container(key="bench_kinds"):
        is_next = bool(found) and not lines
        is_tier = _tier_press(stand, lines, is_first=is_next)
        for kind, label in KINDS.items():
            press_button(
                label,
                f"line-{kind}",
                lambda kind=kind: stand.go(step="quote", form=kind),
                is_first=is_next and not is_tier and kind == "labour",
            )
    form = Form(stand, "quote", {"form": "fixed"})
    form.begin(*GIVEN)
    if lines:
        forms = {"fixed": "A fixed price", "up to": "Up to this much"}
        bench_form.presses(form, "form", "Named as", forms, lambda: None)
        with st.expander("More: somebody else pays"):
            person(form, "payer", "Paid by", lambda: form.keep(*GIVEN))
        press_button("Give the quote", "give-quote", _give, form, is_first=True)
        press_button("Take the last line off", "take-line", _taken, stand)
    else:
        # the filled press is never the one that leaves what was found unquoted
        press_button("Nothing to quote: go on", "on-quote", _nothing, stand, is_first=not found)


def _found(stand: Stand) -> list[str]:
    """Give what was found that work may be quoted for: faults, and what is past its limit."""
    words, back = stand.words, stand.bench.hand_back
    said = [
        f"{words.position(one.position)}: {words.fault(one.fault)}, {one.verdict}"
        for one in back.faults
    ]
    said += [
        f"{words.place(one.position, one.point)}: {bench_words.span(words, one)}, {one.verdict}"
        for one in back.past_limits
    ]
    return [capital(one) for one in dict.fromkeys(said)]


def _nothing(stand: Stand) -> None:
    stand.left_out("steps").add("quote")
    pieces.go_on(stand, "quote")


def line_name(stand: Stand, line: Line) -> str:
    """Give what a line is for."""
    if line["line_type"] != "labour":
        return str(line["code"])
    tiers = stand.words.vocabulary.tiers
    return (
        stand.words.tier(line["code"]) if line["code"] in tiers else stand.words.task(line["code"])
    )


def _gathered(stand: Stand) -> list[Line]:
    return list(stand.kept(LINES).get("lines", []))


def _tier_press(stand: Stand, lines: Sequence[Line], *, is_first: bool) -> bool:
    """Offer the tier that was booked, at its price in force; says whether there is one."""
    tier = stand.bench.job.tier if stand.bench.job else None
    quoted = {one.line.code for one in stand.bench.quoted} | {line["code"] for line in lines}
    line = bench_worked.tier_line(stand.book, tier) if tier and tier not in quoted else None
    if line is not None:
        price = stand.money.money(int(str(line["net_minor"])))
        label = f"{capital(stand.words.tier(tier or ''))}, {price}"
        press_button(label, "line-tier", _added, stand, line, is_first=is_first)
    return line is not None


def _added(stand: Stand, line: Line) -> None:
    rate = bench_worked.usual_tax(stand.book)
    told = line | ({"tax_rate": rate} if rate else {})
    stand.keep(LINES, {"lines": [*_gathered(stand), told]})
    bench_press.hear(None)


def _taken(stand: Stand) -> None:
    stand.keep(LINES, {"lines": _gathered(stand)[:-1]})


def _line(stand: Stand, kind: str) -> None:
    """Draw what one line says."""
    asks = LINE_ASKS[kind]
    fields = tuple(name for ask in asks for name in (ask.field, f"other_{ask.field}"))
    form = Form(stand, f"line {kind}")
    pieces.head(stand, "quote", KINDS[kind])
    pieces.left_typed(form, form.begin(*fields), *fields)
    for ask in asks:
        bench_form.draw_field(form, ask, lambda: form.keep(*fields), _money_label(stand, ask))
    press_button("Add to the quote", f"add-{kind}", _add, form, kind, is_first=True)
    pieces.back(stand, "quote")


def _money_label(stand: Stand, ask: walk.Ask) -> str:
    return f"{ask.words}, {stand.money.currency}" if ask.answer == "money" else ask.words


def _add(form: Form, kind: str) -> None:
    stand = form.stand
    try:
        found = payload(form, tuple(_plain(ask) for ask in LINE_ASKS[kind]))
    except NotRead as error:
        pieces.refuse(str(error), form.name)
        return
    if found.get("net_minor", 0) < 0 and kind != "other":
        pieces.refuse(
            "Price before tax: 0 or more. A discount is a line of its own, “Something else”.",
            form.name,
        )
        return
    _added(stand, {"line_type": kind, **found})
    stand.throw_away(form.name)
    stand.go(step="quote")


def _plain(ask: walk.Ask) -> walk.Ask:
    """Give a question as one that is asked whatever the others say: its kind is chosen already."""
    return walk.Ask(ask.field, ask.words, ask.answer, ask.choices, ask.of, ask.is_needed)


def _give(form: Form) -> None:
    stand = form.stand
    code = bench_worked.code_for(form.id, lambda: short_code("Q"))

    payer = form.value("payer")

    def make() -> list[drafts.Draft]:
        hand = stand.hand
        made = quotes.give_draft(
            hand.actor,
            hand.bike,
            hand.job or "",
            code,
            [{**line, "payer": payer} if payer else line for line in _gathered(stand)],
            stand.book.settings.currency,
            form=form.value("form") or "fixed",
            is_found_later=bool(stand.bench.quoted),
        )
        return [{**made, "id": form.id}]

    def done() -> None:
        stand.throw_away(LINES)
        form.put("payer", None)
        stand.go(step="answer")

    pieces.record(form, make, done)


# -- the answer --------------------------------------------------------------------------------


def answer_view(stand: Stand, item: str | None) -> None:
    """Draw the line that waits for the keeper's word, or every line with its answer."""
    waiting = [one for one in stand.bench.quoted if one.answer not in ("yes", "no")]
    found = next((one for one in stand.bench.quoted if one.line.line == item), None)
    form = Form(stand, "answer", {"how": "in person"})
    if not stand.bench.quoted:
        pieces.head(stand, "answer", "Nothing is quoted")
        press_button("Go on", "on-answer", pieces.go_on, stand, "answer", is_first=True)
        return
    title = line_name(stand, found.line.model_dump()) if found else "Every line has its answer"
    pieces.head(
        stand,
        "answer",
        title,
        item or ALL,
        stand.money.money(found.gross_minor) + " with tax" if found else "",
    )
    form.begin("how")
    if found is not None:
        with st.container(key="bench_answers", horizontal=True):
            for answer in ANSWERS:
                press_button(capital(answer), f"answer-{answer}", _answer, form, [found], answer)
    if len(waiting) > 1:
        press_button(
            f"Yes to all {len(waiting)}", "answer-all", _answer, form, waiting, "yes", is_first=True
        )
    channels = {how: capital(how) for how in walk.CHANNELS}
    if waiting:
        bench_form.presses(form, "how", "How the answer came", channels, lambda: None)
    show(bench_html.rows([_row(stand, one) for one in stand.bench.quoted]))
    with st.container(key="bench_ways_out", horizontal=True):
        if found is not None and found in waiting:
            press_button(
                "No answer yet", "leave-answer", pieces.leave_out, stand, "answer", found.line.line
            )
        press_button("Go on", "on-answer", _on, stand)


def _on(stand: Stand) -> None:
    stand.go(step=next_step(stand, "answer"))


def _row(stand: Stand, one: QuotedLine) -> tuple[str, str, str | None]:
    return (
        line_name(stand, one.line.model_dump()),
        f"{stand.money.money(one.gross_minor)}, {one.answer or 'no answer yet'}",
        None,
    )


def _answer(form: Form, lines: Sequence[QuotedLine], answer: str) -> None:
    stand = form.stand
    name = f"answer {' '.join(one.line.line for one in lines)} {answer}"

    def make() -> list[drafts.Draft]:
        hand, said = stand.hand, {one.line.line: answer for one in lines}
        known = quotes.quotes_of(stand.book, hand.bike, hand.job)
        made = quotes.answer_drafts(
            known, said, hand.actor, hand.bike, form.value("how") or "in person"
        )
        return [{**one, "id": stand.event_id(f"{name}/{place}")} for place, one in enumerate(made)]

    stand.press(name, make, on_done=lambda: stand.go(step="answer"))
