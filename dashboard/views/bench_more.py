"""Under the open item: photos before and after, and everything recorded in this job with Undo."""

from __future__ import annotations

import base64
import io
from typing import TYPE_CHECKING

import streamlit as st

from dashboard import bench_html, bench_press, bench_words, data
from dashboard.bench_address import STEPS
from dashboard.bench_press import Heard
from dashboard.bench_stand import Stand
from dashboard.markup import capital
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_pieces import press_button, show
from ledger.bench.shapes import Place
from ledger.book import Book
from ledger.errors import LedgerError
from ledger.photos import Photo, read_photo

if TYPE_CHECKING:
    from streamlit.runtime.uploaded_file_manager import UploadedFile

PHOTOS, RECORDED = "bench_photos", "bench_recorded"
COUNT, TRIED = "bench_photo_count", "bench_photo_tried"
BEFORE, AFTER = "Before the work", "After it"
MOST_SHOWN, MOST_LISTED = 12, 40
THUMB_PIXELS = 320


def more_view(stand: Stand, place: Place) -> None:
    """Draw the two folds; what is in them is looked up when they are opened."""
    with st.container(key="bench_more"):
        fold = st.expander("Photos, before and after", key=PHOTOS, on_change="rerun")
        if fold.open:
            with fold:
                _photos(stand, place)
        fold = st.expander("Everything recorded in this job", key=RECORDED, on_change="rerun")
        if fold.open:
            with fold:
                _recorded(stand)


# -- photos ------------------------------------------------------------------------------------


def _photos(stand: Stand, place: Place) -> None:
    position = _position(stand, place)
    where = f"of the {stand.words.position(position)}" if position else "of the whole bike"
    usual = BEFORE if STEPS.index(place.step) < STEPS.index("torque") else AFTER
    st.session_state.setdefault("bench_photo_when", usual)
    st.pills("A photo from", [BEFORE, AFTER], key="bench_photo_when")
    count = st.session_state.setdefault(COUNT, 0)
    key = f"bench_photo-{count}"
    given = st.file_uploader(
        f"Take or choose a photo {where}", ["image/jpeg", "image/png", "image/webp"], key=key
    )
    if given is not None and st.session_state.get(TRIED) != given.file_id:
        # not in a callback, which ends before anything is drawn: a photo takes its time
        with st.spinner("The photo is being kept"):
            _attach(stand, given, key, position)
        st.session_state[TRIED] = given.file_id
        st.rerun()
    shown = "".join(_figure(stand, one) for one in stand.bench.photos[:MOST_SHOWN])
    show(f'<div class="lk-photos">{shown}</div>')


def _position(stand: Stand, place: Place) -> str | None:
    """Give the position that is open, where the item is one."""
    first = (place.item or "").split(" ")[0]
    return first if first in stand.words.vocabulary.positions else None


def _attach(
    stand: Stand,
    given: UploadedFile,
    key: str,
    position: str | None,
    is_clock_right: bool = False,
) -> None:
    """Keep a photo; nothing of where or by whom it was taken is kept with it."""
    event = stand.event_id(f"photo {key}")
    is_before = {BEFORE: True, AFTER: False}.get(st.session_state.get("bench_photo_when") or "")
    said = bench_press.photo_added(
        stand.book,
        stand.hand,
        given.getvalue(),
        event,
        position=position,
        is_before=is_before,
        is_clock_right=is_clock_right,
    )
    again = (lambda: _attach(stand, given, key, position, True)) if said.again else None
    bench_press.hear(Heard(said, (event,) if said.is_recorded else (), again=again))
    if said.is_recorded:
        st.session_state[COUNT] = st.session_state.get(COUNT, 0) + 1


def _figure(stand: Stand, one: Photo) -> str:
    """Give one photo, small, with when and of what it is."""
    try:
        picture = _thumb(stand.book, one.photo, one.key, data.register_at(stand.book))
    except LedgerError:  # nothing to show now; it is looked for again the next time
        picture = ""
    when = {True: "before", False: "after"}.get(one.is_before) if one.is_before is not None else ""
    place = stand.words.position(one.position) if one.position else "the bike"
    said = ", ".join(filter(None, (capital(place), when, stand.words.formats.day(one.taken_at))))
    return bench_html.photo(picture, said, one.caption or "")


@st.cache_data(show_spinner=False, max_entries=200)
def _thumb(_book: Book, photo: str, key: str, register_at: int) -> str:
    """Give a photo small, as base64; empty where its key is gone. Raises as `read_photo` does."""
    from PIL import Image

    content = read_photo(_book, photo, key)
    if content is None:
        return ""
    small = Image.open(io.BytesIO(content)).convert("RGB")
    small.thumbnail((THUMB_PIXELS, THUMB_PIXELS))
    held = io.BytesIO()
    small.save(held, "JPEG", quality=80)
    return base64.b64encode(held.getvalue()).decode("ascii")


# -- what was recorded -------------------------------------------------------------------------


def _recorded(stand: Stand) -> None:
    """Draw every entry of this job, newest first; one's own can be struck."""
    for entry in stand.bench.entries[:MOST_LISTED]:
        who = "" if entry.is_own else f"{entry.actor}, "
        at = stand.words.formats.time(entry.recorded_at)
        with st.container(key=f"entry-{entry.event}", horizontal=True, vertical_alignment="center"):
            show(bench_html.entry(bench_words.entry_line(stand.words, entry), f"{who}{at}"))
            if entry.is_own:
                press_button("Undo", f"undo-{entry.event}", pieces.undo, stand, (entry.event,))
