"""A bike whose tag is gone: it is found, shown with its old and new tag, then both are joined."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from dashboard import bench_html, bench_press, data
from dashboard.bench_address import FIND
from dashboard.bench_form import NotRead
from dashboard.bench_html import printed
from dashboard.bench_press import Heard
from dashboard.time_clock import Said
from dashboard.views.bench_new import back, on_the_stand, refusal, tag_for, with_photo
from dashboard.views.bench_pieces import press_button, show
from ledger.bench import drafts
from ledger.bench.finding import look_for
from ledger.bench.shapes import FoundBike
from ledger.book import Book

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

MOST = 8
WASHED_OFF = "Its tag washed off"
CHOSEN = "gone-chosen"
TYPED = ("gone-tag", "gone-description", "gone-photo")


def gone_view(book: Book, actor: str, tag: str = "") -> None:
    """Draw the search for a bike without its tag, then both its tags; `tag` is the new one."""
    chosen: FoundBike | None = st.session_state.get(CHOSEN)
    if chosen is None:
        _search(book, tag)
        back()
    else:
        _both_tags(book, actor, chosen, tag)
        press_button("Another bike", "gone-other", _chosen, None)


def _search(book: Book, tag: str) -> None:
    gets = f"the new tag {printed(tag)}" if tag else "a new tag"
    small = f"Find it by whose it is or what it looks like. It gets {gets}; the old one stays its."
    show(bench_html.item("Bench", "Its tag is gone", "tag gone", small))
    st.session_state.setdefault("gone-find", st.query_params.get(FIND, ""))
    with st.container(key="bench_search"):
        st.text_input("Letters of its rider, make, model or looks", key="gone-find", live=True)
    letters = st.session_state["gone-find"]
    found = look_for(book, letters, MOST) if letters else []
    with st.container(key="bench_found_bikes"):
        for one in found:
            _row(book, one)
    if letters and not found:
        show(
            bench_html.note(
                "No bike has these letters. Try fewer, or enter it as a new bike: "
                "two tags can be joined later, under Bike."
            )
        )


def _row(book: Book, one: FoundBike) -> None:
    seen = f"last seen {data.words_of(book).formats.day(one.last_seen_at)}"
    said = (one.rider_name or "rider not named", one.description, seen)
    st.button(
        bench_html.bike_label(one, f"This one: {_name(one)}", ", ".join(filter(None, said))),
        key=f"gone-{one.tag}",
        on_click=_chosen,
        args=(one,),
        width="stretch",
    )


def _name(one: FoundBike) -> str:
    return data.name_of(one.make, one.model) if one.make or one.model else one.description or (
        "make not known"
    )  # fmt: skip


def _chosen(one: FoundBike | None) -> None:
    bench_press.hear(None)
    for key in TYPED:
        st.session_state.pop(key, None)
    st.session_state[CHOSEN] = one


# -- both tags -----------------------------------------------------------------------------------


def _both_tags(book: Book, actor: str, one: FoundBike, own_tag: str) -> None:
    """Draw the old tag and the new one, and what the bike looks like now; a press joins them."""
    show(bench_html.item("Bench", _name(one), f"tag gone {one.tag}", "Nothing is recorded yet."))
    refusal()
    tag = own_tag or st.session_state.get("gone-tag") or ""
    event = bench_press.event_id(f"gone {one.tag}/new", None, drafts.new_id)
    try:
        new = printed(tag_for(book, tag, event))
    except NotRead as error:
        new = ""
        show(bench_html.refused(str(error)))
    rider = one.rider_name or "rider not named"
    show(bench_html.beside([("Old tag", _old(one), ""), ("New tag", new, ""), ("Of", rider, "")]))
    if not own_tag:
        st.text_input("The new tag, if it is printed already: typed or scanned", key="gone-tag")
    st.session_state.setdefault("gone-description", one.description or "")
    st.text_input("What it looks like now", key="gone-description")
    st.file_uploader("A photo of it", ["image/jpeg", "image/png", "image/webp"], key="gone-photo")
    if new:
        label = f"{_old(one)} is {new} from now on"
        press_button(label, "gone-join", _joined, book, actor, one, tag, is_first=True)


def _old(one: FoundBike) -> str:
    return ", ".join(map(printed, (one.tag, *one.other_tags)))


def _joined(
    book: Book, actor: str, one: FoundBike, typed: str, is_clock_right: bool = False
) -> None:
    """Enter the new tag with what is known of the bike, and say that both are one."""
    name = f"gone {one.tag}"
    entered = bench_press.event_id(f"{name}/new", None, drafts.new_id)
    joined = bench_press.event_id(f"{name}/joined", None, drafts.new_id)
    try:
        tag = tag_for(book, typed, entered)
    except NotRead as error:
        bench_press.hear(Heard(Said(str(error), False)))
        return
    known = {
        "make": one.make,
        "model": one.model,
        "bike_kind": one.bike_kind,
        "description": st.session_state.get("gone-description") or one.description,
    }
    photo: UploadedFile | None = st.session_state.get("gone-photo")
    made = [
        drafts.registered(actor, tag, entered, **known),
        drafts.linked(actor, joined, one.tag, tag, WASHED_OFF),
    ]
    said = bench_press.recorded(book, made, is_clock_right=is_clock_right)
    if not said.is_recorded:
        again = (lambda: _joined(book, actor, one, typed, True)) if said.again else None
        bench_press.hear(Heard(said, again=again))
        return
    said = with_photo(book, drafts.Hand(actor, tag), photo, said)
    told = f"{said.words} The new tag is {printed(tag)}; {_old(one)} is the same bike."
    said = Said(told, said.is_recorded)
    bench_press.hear(Heard(said, (entered, joined) if said.is_recorded else ()))
    bench_press.done_with(name)
    for key in (CHOSEN, "gone-find", *TYPED):
        st.session_state.pop(key, None)
    on_the_stand(tag, "")
