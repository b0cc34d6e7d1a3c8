"""A bike that is new to the book, and one whose tag washed off: a tag is made at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboard import bench_html, bench_press, bench_worked, data
from dashboard.bench_address import FIND, FORM, ITEM, STEP, TAG
from dashboard.bench_press import Heard
from dashboard.bench_stand import unsent_of
from dashboard.markup import capital
from dashboard.time_clock import Said
from dashboard.views.bench_pieces import press_button, show
from ledger.bench import drafts
from ledger.bench.finding import look_for
from ledger.bench.shapes import FoundBike
from ledger.book import Book
from ledger.unsent import FormKey

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

FIELDS = ("description", "make", "model", "bike_kind", "wheel_size")
MOST = 8
WASHED_OFF = "Its tag washed off"


def new_view(book: Book, actor: str) -> None:
    """Draw what enters a bike: what it looks like is enough, a photo helps."""
    show(
        bench_html.item(
            "Bench",
            "A new bike",
            "new bike",
            "Its tag is made now. What nobody knows stays not known.",
        )
    )
    _refusal()
    key = FormKey(actor, step="new bike")
    kept = unsent_of(book).get(key)
    for one in FIELDS:
        usual = kept.values.get(one) if kept else None
        st.session_state.setdefault(f"new-{one}", usual)

    def keep() -> None:
        unsent_of(book).put(key, {one: st.session_state.get(f"new-{one}") for one in FIELDS})

    words = data.words_of(book)
    st.text_input(
        "What it looks like",
        key="new-description",
        on_change=keep,
        placeholder="Colour, basket, stickers, anything",
    )
    st.file_uploader("A photo of it", ["image/jpeg", "image/png", "image/webp"], key="new-photo")
    st.text_input("Make, if it says", key="new-make", on_change=keep)
    st.text_input("Model, if it says", key="new-model", on_change=keep)
    kinds = list(words.vocabulary.bike_kinds)
    st.pills(
        "Kind of bike",
        kinds,
        key="new-bike_kind",
        on_change=keep,
        format_func=lambda code: bench_html.label(capital(words.bike_kind(code))),
    )
    st.text_input("Wheel size, if it says", key="new-wheel_size", on_change=keep)
    event = bench_press.event_id("new bike", None, drafts.new_id)
    press_button("Enter it", "enter-bike", _entered, book, actor, event, key, is_first=True)
    _back()


def _entered(
    book: Book, actor: str, event: str, key: FormKey, is_clock_right: bool = False
) -> None:
    """Enter the bike under a new tag, with its photo; then it stands on the stand."""
    typed = {one: st.session_state.get(f"new-{one}") for one in FIELDS}
    photo: UploadedFile | None = st.session_state.get("new-photo")
    if not any(typed.values()) and photo is None:
        bench_press.hear(Heard(Said("Say what it looks like, or take a photo of it.", False)))
        return
    tag = bench_worked.code_for(event, book.new_tag)
    made = [drafts.registered(actor, tag, event, **typed)]
    said = bench_press.recorded(book, made, is_clock_right=is_clock_right)
    if not said.is_recorded:
        again = (lambda: _entered(book, actor, event, key, True)) if said.again else None
        bench_press.hear(Heard(said, again=again))
        return
    if photo is not None:
        picture = bench_press.event_id(f"photo of {tag}", None, drafts.new_id)
        kept = bench_press.photo_added(
            book, drafts.Hand(actor, tag), photo.getvalue(), picture, is_before=True
        )
        if not kept.is_recorded:
            said = Said(f"The bike is in the book, its photo is not. {kept.words}", False)
    bench_press.hear(Heard(said, (event,) if said.is_recorded else ()))
    unsent_of(book).drop(key)
    bench_press.done_with("new bike")
    _on_the_stand(tag, "booking")


# -- a tag that is gone ------------------------------------------------------------------------


def gone_view(book: Book, actor: str) -> None:
    """Draw the search for a bike without its tag; a press gives it a new one, joined to the old."""
    show(
        bench_html.item(
            "Bench",
            "Its tag is gone",
            "tag gone",
            "Find it by whose it is or what it looks like. It gets a new tag, and both "
            "tags are one bike from then on.",
        )
    )
    _refusal()
    st.session_state.setdefault("gone-find", st.query_params.get(FIND, ""))
    with st.container(key="bench_search"):
        st.text_input("Letters of its rider, make, model or looks", key="gone-find", live=True)
    found = (
        look_for(book, st.session_state["gone-find"], MOST) if st.session_state["gone-find"] else []
    )
    words = data.words_of(book)
    with st.container(key="bench_found_bikes"):
        for one in found:
            named = data.name_of(one.make, one.model) if one.make or one.model else one.description
            small = ", ".join(
                filter(
                    None,
                    (
                        one.rider_name or "rider not named",
                        one.description,
                        f"last seen {words.formats.day(one.last_seen_at)}",
                    ),
                )
            )
            st.button(
                bench_html.bike_label(one, f"This one: {named or 'make not known'}", small),
                key=f"gone-{one.tag}",
                on_click=_joined,
                args=(book, actor, one),
                width="stretch",
            )
    if st.session_state["gone-find"] and not found:
        show(
            bench_html.note(
                "No bike has these letters. Try fewer, or enter it as a new bike: "
                "two tags can be joined later, under Bike."
            )
        )
    _back()


def _joined(book: Book, actor: str, one: FoundBike, is_clock_right: bool = False) -> None:
    """Enter a new tag with what is known of the bike, and say that both are one."""
    name = f"gone {one.tag}"
    entered = bench_press.event_id(f"{name}/new", None, drafts.new_id)
    joined = bench_press.event_id(f"{name}/joined", None, drafts.new_id)
    tag = bench_worked.code_for(entered, book.new_tag)
    known = {
        "make": one.make,
        "model": one.model,
        "bike_kind": one.bike_kind,
        "description": one.description,
    }
    made = [
        drafts.registered(actor, tag, entered, **known),
        drafts.linked(actor, joined, one.tag, tag, WASHED_OFF),
    ]
    said = bench_press.recorded(book, made, is_clock_right=is_clock_right)
    again = (lambda: _joined(book, actor, one, True)) if said.again else None
    bench_press.hear(Heard(said, (entered, joined) if said.is_recorded else (), again=again))
    if said.is_recorded:
        bench_press.done_with(name)
        _on_the_stand(tag, "")


# -- what both have ----------------------------------------------------------------------------


def _on_the_stand(tag: str, step: str) -> None:
    for name in (FIND, FORM, STEP, ITEM):
        st.query_params.pop(name, None)
    st.query_params[TAG] = tag
    if step:
        st.query_params[STEP] = step
    st.session_state["bench_new_tag"] = tag


def _refusal() -> None:
    heard = bench_press.heard()
    if heard is not None and not heard.said.is_recorded:
        show(bench_html.refused(heard.said.words))
        if heard.again is not None:
            press_button("They are right: record it", "press-again", heard.again)


def _back() -> None:
    press_button("Back", "back-find", _leave)


def _leave() -> None:
    bench_press.hear(None)
    st.query_params.pop(FORM, None)
