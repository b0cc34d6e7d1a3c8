"""What every step of the bench page is made of: the item's head, its presses, refusals, notes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

import streamlit as st

from dashboard import bench_html, bench_press, bench_words
from dashboard.bench_address import STEPS
from dashboard.bench_form import Form, NotRead
from dashboard.bench_place import SHORT, go_after, items, next_step
from dashboard.bench_press import Heard
from dashboard.bench_stand import Drafts, Stand
from dashboard.markup import as_words, capital
from dashboard.time_clock import Said
from ledger.bench import drafts
from ledger.bench.shapes import EntryAtBench
from ledger.errors import LedgerError
from ledger.vocabulary.caution import needs_caution

Make = Callable[[], Drafts]


def show(html: str) -> None:
    """Draw HTML; nothing where there is none."""
    if html:
        st.html(html)


def press_button(
    label: str,
    key: str,
    act: Callable[..., None],
    *args: object,
    is_first: bool = False,
    is_off: bool = False,
    is_wide: bool = False,
) -> None:
    """Draw one press; the first of a card is filled, the others are outlines."""
    st.button(
        as_words(label),
        key=key,
        on_click=_pressed,
        args=(act, *args),
        type="primary" if is_first else "secondary",
        disabled=is_off,
        width="stretch" if is_wide or is_first else "content",
    )


def _pressed(act: Callable[..., None], *args: object) -> None:
    """Do what a press is for; what the book refuses is said in a line, whatever it is."""
    try:
        act(*args)
    except LedgerError as error:
        refuse(" ".join(str(error).split()))


def head(stand: Stand, step: str, title: str, item: str = "", small: str = "") -> None:
    """Draw the head of the one open item: its step and number, its name, its standing notes."""
    keys = list(items(stand.bench, step))
    number = f" · {keys.index(item) + 1} of {len(keys)}" if item in keys else ""
    show(bench_html.item(f"{SHORT[step]}{number}", title, f"{step} {item}", small))
    refusal(stand)


def notes(stand: Stand, positions: Iterable[str]) -> None:
    """Draw the standing notes of positions, the newest first of each."""
    found = [
        (stand.words.position(position), note)
        for position in positions
        for note in stand.bench.notes.get(position, ())
    ]
    if found:
        show(bench_html.notes(found, stand.words))


def here_too(stand: Stand, positions: Iterable[str]) -> None:
    """Say where another mechanic is at the same position."""
    wanted = set(positions)
    for one in stand.bench.others:
        for position, when in one.at:
            if position in wanted:
                where = stand.words.position(position)
                st.html(
                    bench_html.wild(
                        f"{one.mechanic} is at this too: {where}, {stand.words.formats.time(when)}."
                    )
                )
                break


@contextmanager
def around(
    stand: Stand, step: str, item: str, position: str, quantity: str | None = None
) -> Iterator[bool]:
    """Draw what stands around the entry of one item: notes and who is there, then the caution.

    Gives whether the entry is to be drawn: not where it is asked why nothing was checked.
    """
    notes(stand, (position,))
    here_too(stand, (position,))
    is_entry = stand.asked.form != "not checked"
    if not is_entry:
        not_checked(stand, step, item, position)
    yield is_entry
    caution(stand, position, quantity)


@contextmanager
def whole(stand: Stand, step: str, title: str) -> Iterator[None]:
    """Draw the frame of a whole step as a list: its head, and the way on under it."""
    show(bench_html.item(SHORT[step], title, f"{step} all"))
    refusal(stand)
    yield
    press_button("Go on", f"on-{step}", go_on, stand, step, is_first=True)


def caution(stand: Stand, position: str, quantity: str | None = None) -> None:
    """Draw the caution where a figure or verdict may decide whether somebody gets hurt."""
    if needs_caution(stand.words.vocabulary, position, quantity):
        show(bench_html.caution(bench_words.CAUTION))


def refusal(stand: Stand) -> None:
    """Draw why the last press recorded nothing, and the way on where only the clock is in doubt."""
    heard = bench_press.heard()
    if heard is None or heard.said.is_recorded:
        return
    show(bench_html.refused(heard.said.words))
    if heard.again is not None:
        press_button("They are right: record it", "press-again", heard.again)


def in_book(stand: Stand) -> None:
    """Draw what was just recorded, with Undo beside it."""
    with st.container(key="bench_heard", horizontal=True, vertical_alignment="center"):
        # drawn with nothing in it too: what comes after it keeps its place on the page
        heard = bench_press.heard()
        if heard is None or not heard.said.is_recorded or not heard.events:
            return
        said = bench_words.recorded_line(stand.words, stand.bench, heard.events)
        warned = heard.said.words.removeprefix("In the book.").strip()
        show(bench_html.heard(f"{said}. {warned}" if warned else f"{said}."))
        press_button("Undo", "undo-last", undo, stand, heard.events)


def undo(stand: Stand, events: tuple[str, ...]) -> None:
    """Strike what was recorded; it stays readable."""
    known = {entry.event: entry for entry in stand.bench.entries}
    is_booking = any(known[one].kind == "job_opened" for one in events if one in known)
    if is_booking and known.keys() - set(events):
        refuse("Undo the entries made on it first.")
        return
    made = [
        drafts.struck(stand.hand, stand.event_id(f"undo {event}"), event, "Undone at the bench")
        for event in reversed(events)
    ]
    said = bench_press.recorded(stand.book, made)
    bench_press.hear(Heard(said))
    if said.is_recorded and events[0] in known:
        entry = known[events[0]]
        if entry.step in STEPS:
            stand.go(step=entry.step, item=_item_of(stand, entry))


def _item_of(stand: Stand, entry: EntryAtBench) -> str:
    """Give the item an entry was of, so that it is open again once it is struck."""
    place = entry.position or ""
    of = {
        "inspect": stand.words.system_of(place),
        "measure": " ".join(
            str(entry.data[name])
            for name in ("position", "quantity", "point")
            if entry.data.get(name)
        ),
        "torque": place,
        "pressures": place,
    }
    found = of.get(entry.step, "") if place else ""
    return found if found in items(stand.bench, entry.step) else ""


def refuse(words: str, form: str = "") -> None:
    """Say why nothing was recorded."""
    bench_press.hear(Heard(Said(words, False), form=form))


def record(form: Form, make: Make, on_done: Callable[[], None] | None = None) -> None:
    """Record what a form says; what cannot be read is said and stays as it is typed."""
    try:
        made = make()
    except NotRead as error:
        refuse(str(error), form.name)
        return
    form.stand.press(form.name, lambda: made, on_done=on_done)


def go_on(stand: Stand, step: str) -> None:
    """Go on to the step after one."""
    stand.go(step=next_step(stand, step))


def left_typed(form: Form, found: dict[str, object], *fields: str) -> None:
    """Say that something was typed and not recorded, and offer to throw it away."""
    name = f"bench_typed {form.stand.name} {form.name}"
    if found:
        st.session_state[name] = bench_words.typed_line(found)
    if name not in st.session_state:
        return

    def thrown() -> None:
        form.throw_away(*fields)
        st.session_state.pop(name, None)

    with st.container(key="bench_typed", horizontal=True, vertical_alignment="center"):
        show(bench_html.wild(f"Not recorded yet: {st.session_state[name]}"))
        press_button("Throw away", f"throw-{form.name}", thrown)


# -- left out, not checked -----------------------------------------------------------------------


def ways_out(stand: Stand, step: str, item: str, *, has_unchecked: bool = True) -> None:
    """Draw the presses beside the record press: leave it out, or say why it was not checked."""
    with st.container(key="bench_ways_out", horizontal=True):
        press_button("Leave out", f"leave-{step} {item}", leave_out, stand, step, item)
        if has_unchecked:
            unchecked_press(stand, step, item)


def unchecked_press(stand: Stand, step: str, item: str, *, is_first: bool = False) -> None:
    """Draw the press that asks why something was not checked."""
    press_button(
        "Not checked",
        f"unchecked-{step} {item}",
        lambda: stand.go(step=step, item=item, form="not checked"),
        is_first=is_first,
    )


def leave_out(stand: Stand, step: str, item: str) -> None:
    """Go on without recording an item."""
    stand.leave_out(step, item)
    go_after(stand, step, item)


def not_checked(stand: Stand, step: str, item: str, position: str) -> None:
    """Draw why something was not checked: a press each, or in words."""
    form = Form(stand, f"not checked {item}")
    show(bench_html.note(f"Why was the {stand.words.position(position)} not checked?"))
    with st.container(key="bench_whys", horizontal=True):
        for why in bench_words.WHY_NOT:
            press_button(capital(why), f"why-{why}", _unchecked, form, position, why, step, item)
    typed = form.begin("why")
    left_typed(form, typed, "why")
    with st.container(key=f"words-why {item}"):
        st.text_input("Or in words", key=form.key("why"), on_change=form.keep, args=("why",))
    press_button(
        "Record: not checked", f"record-why {item}", _unchecked, form, position, "", step, item
    )
    back(stand, step, item)


def _unchecked(form: Form, position: str, why: str, step: str, item: str) -> None:
    reason = why or form.text("why")
    if not reason:
        refuse("Say why it was not checked: what was not checked never reads as fine.")
        return
    stand = form.stand

    def done() -> None:
        stand.left_out(step).add(item)
        go_after(stand, step, item)

    record(
        form,
        lambda: [
            drafts.found(stand.hand, form.id, position, "not checked", why_not_checked=reason)
        ],
        done,
    )


def back(stand: Stand, step: str, item: str = "") -> None:
    """Draw the way back from a short form to its item."""
    press_button("Back", f"back-{step} {item}", lambda: stand.go(step=step, item=item))
