"""A bike by its tag: what to know before touching it, as at any date, and all that happened."""

from __future__ import annotations

from datetime import date, datetime

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from dashboard import (
    answer,
    charts,
    data,
    fault_timeline,
    filters,
    markup,
    panels,
    rider_page,
    series,
    stands,
    worked_out,
)
from dashboard.data import Bike
from dashboard.entries import Entry
from dashboard.fault_address import Asked
from dashboard.timeline import FIRST_SHOWN, timeline
from dashboard.words import Words
from ledger.book import Book
from ledger.figures.bench import is_asked
from ledger.figures.bench_words import BenchWords
from ledger.figures.fault_words import FaultWords
from ledger.view import BikeView

AS_AT, TAG = "as_at", "tag"


def page() -> None:
    """Draw the page for the tag in the address."""
    book = data.open_book()
    typed = st.query_params.get(TAG, "")
    tag = filters.fold_tag(typed)
    if not tag:
        st.html(markup.blank("Which bike?", "Type its tag above, or letters of make or model."))
    elif tag not in data.tags(book):
        _unknown(book, typed, tag)
    else:
        st.set_page_config(page_title=f"{tag} · Lockring")
        _known(book, tag)


def _unknown(book: Book, typed: str, tag: str) -> None:
    near = filters.nearest_tags(tag, data.tags(book))
    hint = "These tags read nearly the same." if near else "No tag here reads anything like it."
    st.html(markup.blank(f"No bike has the tag {typed.strip()}", hint))
    if near:
        st.html(panels.bike_list(data.named(book, near), data.words_of(book)))


def _known(book: Book, tag: str) -> None:
    bike, words = data.bike(book, tag), data.words_of(book)
    first, last = bike.days[0], max(bike.days[-1], data.today(book))
    day = filters.within(filters.asked_day(st.query_params.get(AS_AT)) or last, first, last)
    _keep_address(tag, day, last)
    as_at = data.end_of(book, day)
    view = data.view(book, tag, as_at)
    st.html(panels.identity(bike, view, data.person(book, view.rider), words))
    st.html(panels.wear_link(tag, "" if day == last else day.isoformat()))
    rider_page.offer(book, bike, as_at, words)
    _date_control(bike, words, day, first, last)
    with st.container(key="body"):
        main, side = st.columns([7, 5], gap="large")
    with main:
        st.html(answer.answer(view, bike.entries, words) + answer.caution(view, words))
        before, bench = st.empty(), st.empty()
        st.html(panels.settings(view.settings, bike, words))
    with side:
        st.html(panels.fitted(view, bike, words))
    _readings(book, bike, words, view, as_at)
    _timeline(bike, words, as_at)
    _came_back(book, tag, day, before)
    if is_asked(view):
        _choice(book, tag, day, bench)


def _came_back(book: Book, tag: str, day: date, where: DeltaGenerator) -> None:
    """Put what came back before where whoever books the bike in sees it."""
    past = None if day >= data.today(book) else day
    asked = Asked(tag=tag, as_at=past.isoformat() if past else "")
    found = worked_out.faults_of_bike(book, tag, past)
    say = FaultWords(book.settings, book.vocabulary)
    said = fault_timeline.at_booking_in(found, say, asked.where())
    if said:
        where.html(said)


def _choice(book: Book, tag: str, day: date, where: DeltaGenerator) -> None:
    """Put the choice over a worn chain where it belongs, once the rest of the page stands."""
    where.html('<p class="lk-note">Pricing what to do about the chain …</p>')
    found = worked_out.choice(book, None if day >= data.today(book) else day, tag)
    say = BenchWords(book.settings)
    note = "" if day < data.today(book) else stands.note(book, data.words_of(book), "chains")
    where.html(panels.bench_choice(say.line(found), say.assumes(found)) + note)


def _keep_address(tag: str, day: date, last: date) -> None:
    """Hold the address to what is shown, so that it can be sent to somebody."""
    wanted = {TAG: tag} if day == last else {TAG: tag, AS_AT: day.isoformat()}
    if st.query_params.to_dict() != wanted:
        st.query_params.from_dict(wanted)


def _go_to(day: date | None) -> None:
    if day is None:
        st.query_params.pop(AS_AT, None)
    else:
        st.query_params[AS_AT] = day.isoformat()


def _go_to_value_of(key: str) -> None:
    _go_to(st.session_state[key])


def _date_control(bike: Bike, words: Words, day: date, first: date, last: date) -> None:
    with st.container(key="as_at"):
        st.html(
            panels.as_at_line(day, day == last, words)
            + panels.life_scale(bike.days, first, last, day)
        )
        if first == last:
            return
        st.session_state["day_slider"] = day
        st.slider(
            "As at",
            first,
            last,
            key="day_slider",
            format=words.formats.picker_pattern(),
            on_change=_go_to_value_of,
            args=("day_slider",),
            label_visibility="collapsed",
        )
        _steps(bike, words, day, first, last)


def _steps(bike: Bike, words: Words, day: date, first: date, last: date) -> None:
    before, after = filters.neighbour_days(bike.days, day)
    st.session_state["day_picker"] = day
    with st.container(horizontal=True, key="steps", vertical_alignment="center"):
        st.button("‹ Visit before", on_click=_go_to, args=(before,), disabled=before is None)
        st.date_input(
            "Exact date",
            min_value=first,
            max_value=last,
            key="day_picker",
            format=words.formats.picker_pattern(),
            on_change=_go_to_value_of,
            args=("day_picker",),
            label_visibility="collapsed",
            width=150,
        )
        st.button("Visit after ›", on_click=_go_to, args=(after,), disabled=after is None)
        st.button("Today", on_click=_go_to, args=(None,), disabled=day == last)


def _readings(book: Book, bike: Bike, words: Words, view: BikeView, as_at: datetime) -> None:
    shown = series.series_of(view, bike.entries, words)
    if not shown:
        st.html(series.none_read())
        return
    st.html(series.head())
    last = max(bike.entries[-1].occurred_at, data.end_of(book, data.today(book)))
    span = (bike.entries[0].occurred_at, last)
    frame = charts.Frame(span, words.formats.zone, words.formats.locale)
    with st.container(key="readings"):
        for number, one in enumerate(shown):
            with st.container(key=f"reading-{number}"):
                st.html(series.card_head(one, bike.entries, words))
                drawn = data.drawn(book, bike, one, frame)
                st.vega_lite_chart(
                    charts.looked_at(drawn, as_at, frame),
                    theme=None,
                    width="stretch",
                    key=f"chart-{number}",
                )


def _timeline(bike: Bike, words: Words, as_at: datetime) -> None:
    st.html('<h2 class="lk-title">Everything that happened</h2>')
    found = _narrowed(bike, words)
    if not found:
        st.html(markup.blank("Nothing matches", "Take a system or a word away.", level=3))
        return
    whole = f"is_whole-{bike.tag}"
    is_whole = st.session_state.get(whole, False)
    listed = found if is_whole else filters.around(found, as_at, FIRST_SHOWN)
    st.html(panels.counted_events(len(listed), len(found), len(bike.entries), words))
    st.html(timeline(listed, words.formats, as_at))
    if len(listed) < len(found):
        label = f"Show all {words.formats.number(len(found))}"
        st.button(label, on_click=st.session_state.update, kwargs={whole: True})


def _narrowed(bike: Bike, words: Words) -> list[Entry]:
    """Give the entries of the systems and words chosen; one event alone needs no choosing."""
    if len(bike.entries) == 1:
        return bike.entries
    systems = sorted(filters.systems_in(bike.entries), key=words.order_of)
    with st.container(key="timeline_filter"):
        by_system, by_words = st.columns([3, 2], gap="large")
    if not systems:
        asked = _words_asked(by_system, bike)
        return filters.narrowed(bike.entries, (), asked)
    chosen = by_system.pills(
        "Systems",
        systems,
        selection_mode="multi",
        format_func=lambda system: markup.capital(words.system(system)),
        key=f"systems-{bike.tag}",
        wrap=True,
    )
    return filters.narrowed(bike.entries, chosen or (), _words_asked(by_words, bike))


def _words_asked(where: DeltaGenerator, bike: Bike) -> str:
    asked = where.text_input("Words", key=f"words-{bike.tag}", placeholder="such as squeal")
    return str(asked or "")
