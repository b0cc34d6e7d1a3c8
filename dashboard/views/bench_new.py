"""A bike that is new to the book: under a tag that is printed already, or one made at once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboard import bench_html, bench_press, bench_worked, data
from dashboard.bench_address import FIND, FORM, ITEM, STEP, TAG
from dashboard.bench_form import NotRead
from dashboard.bench_press import Heard
from dashboard.bench_stand import unsent_of
from dashboard.markup import as_words, capital
from dashboard.time_clock import Said
from dashboard.views.bench_pieces import press_button, show
from ledger.bench import drafts
from ledger.bench.finding import tag_of
from ledger.book import Book
from ledger.unsent import FormKey

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

FIELDS = ("description", "make", "model", "bike_kind", "wheel_size")


def new_view(book: Book, actor: str, tag: str = "") -> None:
    """Draw what enters a bike: what it looks like is enough, a photo helps. `tag` is its own."""
    title = f"A new bike: {bench_html.printed(tag)}" if tag else "A new bike"
    made = "" if tag else "Its tag is made now, unless it has one. "
    known = "What nobody knows stays not known."
    show(bench_html.item("Bench", title, "new bike", f"{made}{known}"))
    refusal()
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
        format_func=lambda code: as_words(capital(words.bike_kind(code))),
    )
    st.text_input("Wheel size, if it says", key="new-wheel_size", on_change=keep)
    if not tag:
        st.text_input("Its tag, if one is on it: typed or scanned", key="new-tag")
    event = bench_press.event_id("new bike", None, drafts.new_id)
    press_button("Enter it", "enter-bike", _entered, book, actor, event, key, tag, is_first=True)
    back()


def _entered(
    book: Book, actor: str, event: str, key: FormKey, own_tag: str, is_clock_right: bool = False
) -> None:
    """Enter the bike under its tag, with its photo; then it stands on the stand."""
    typed = {one: st.session_state.get(f"new-{one}") for one in FIELDS}
    photo: UploadedFile | None = st.session_state.get("new-photo")
    if not any(typed.values()) and photo is None:
        bench_press.hear(Heard(Said("Say what it looks like, or take a photo of it.", False)))
        return
    try:
        tag = tag_for(book, own_tag or st.session_state.get("new-tag") or "", event)
    except NotRead as error:
        bench_press.hear(Heard(Said(str(error), False)))
        return
    made = [drafts.registered(actor, tag, event, **typed)]
    said = bench_press.recorded(book, made, is_clock_right=is_clock_right)
    if not said.is_recorded:
        again = (lambda: _entered(book, actor, event, key, own_tag, True)) if said.again else None
        bench_press.hear(Heard(said, again=again))
        return
    said = with_photo(book, drafts.Hand(actor, tag), photo, said)
    if said.is_recorded:
        said = Said(f"{said.words} Its tag is {bench_html.printed(tag)}.", True)
    bench_press.hear(Heard(said, (event,) if said.is_recorded else ()))
    unsent_of(book).drop(key)
    bench_press.done_with("new bike")
    st.session_state.pop("new-tag", None)
    on_the_stand(tag, "booking")


# -- what a new tag of a bike has too ----------------------------------------------------------


def tag_for(book: Book, typed: str, event: str) -> str:
    """Give the tag that was typed or scanned, or one made for an event; raises NotRead."""
    if not typed.strip():
        return bench_worked.code_for(event, book.new_tag)
    tag = tag_of(typed)
    if tag is None:
        raise NotRead(f"{typed.strip()} is no tag: a tag has eight signs, such as 4W3V QHRB.")
    if tag in data.tags(book):
        raise NotRead(f"The tag {bench_html.printed(tag)} is in the book already: look for it.")
    return tag


def with_photo(book: Book, hand: drafts.Hand, photo: UploadedFile | None, said: Said) -> Said:
    """Keep the photo of a bike that was recorded; gives what is said of both."""
    if photo is None:
        return said
    picture = bench_press.event_id(f"photo of {hand.bike}", None, drafts.new_id)
    kept = bench_press.photo_added(book, hand, photo.getvalue(), picture, is_before=True)
    if kept.is_recorded:
        return said
    return Said(f"The bike is in the book, its photo is not. {kept.words}", False)


def on_the_stand(tag: str, step: str) -> None:
    """Put a bike that was just entered on the stand."""
    for name in (FIND, FORM, STEP, ITEM):
        st.query_params.pop(name, None)
    st.query_params[TAG] = tag
    if step:
        st.query_params[STEP] = step


def refusal() -> None:
    """Draw why nothing was recorded."""
    heard = bench_press.heard()
    if heard is not None and not heard.said.is_recorded:
        show(bench_html.refused(heard.said.words))
        if heard.again is not None:
            press_button("They are right: record it", "press-again", heard.again)


def back() -> None:
    """Draw the way back to the finder."""
    press_button("Back", "back-find", _leave)


def _leave() -> None:
    bench_press.hear(None)
    st.query_params.pop(FORM, None)
