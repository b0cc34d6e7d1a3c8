"""Where a service begins: the bike, who rides it, booking in, and how far it has gone."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import streamlit as st

from dashboard import bench_form, bench_html, bench_press, bench_worked, data
from dashboard.bench_form import Form, NotRead, payload
from dashboard.bench_html import printed
from dashboard.bench_stand import Stand
from dashboard.markup import capital
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_people import offered
from dashboard.views.bench_pieces import press_button, show
from ledger.bench import drafts, walk
from ledger.bench.finding import tag_of
from ledger.bench.reading import bench_of
from ledger.bench.visits import EarlierVisit, earlier_visits
from ledger.bench.walk import Ask
from ledger.bench.walked import short_code
from ledger.events.types import format_moment

PROMISE_DAYS = 6
BOOKED = ("tier", "complaint", "promised", "ceiling_minor", "came_with", "come_back_of")
TOLD = ("name", "rider")


def bike_view(stand: Stand, item: str | None) -> None:
    """Draw what the book knows of the bike itself, and let what is missing be entered."""
    bike, words = stand.bench.bike, stand.words
    pieces.head(stand, "bike", data.name_of(bike.make, bike.model))
    known = [
        ("Kind", words.bike_kind(bike.bike_kind) if bike.bike_kind else "not known", ""),
        ("Wheels", bike.wheel_size or "not known", ""),
        ("Sprockets at the rear", str(bike.speeds) if bike.speeds else "not known", ""),
        ("Frame number", bike.frame_number or "none noted", ""),
        ("In use since", bike.first_used_on or "its history before this book is not known", ""),
    ]
    show(bench_html.beside(known))
    if bike.description:
        show(bench_html.note(bike.description))
    form = Form(stand, "bike", _known_of(stand))
    fields = tuple(ask.field for ask in walk.BIKE.asks)
    typed = form.begin(*fields)
    pieces.left_typed(form, typed, *fields)
    with st.expander("Put it right"):
        bench_form.draw(form, walk.BIKE.asks, lambda: form.keep(*fields))
        press_button(
            "Record", "record-bike", pieces.record, form, lambda: _bike_drafts(form), is_first=True
        )
    press_button("Go on", "on-bike", pieces.go_on, stand, "bike", is_first=True)
    _other_tag(stand)


def _known_of(stand: Stand) -> dict[str, Any]:
    bike = stand.bench.bike
    known: dict[str, Any] = {ask.field: getattr(bike, ask.field, None) for ask in walk.BIKE.asks}
    known["speeds"] = str(bike.speeds) if bike.speeds else None
    known["is_e_bike"] = bench_form.YES if bike.is_e_bike else bench_form.NO
    return known


def _bike_drafts(form: Form) -> list[drafts.Draft]:
    found = payload(form, walk.BIKE.asks)
    bike = form.stand.bench.bike
    if bike.first_used_on:
        found["first_used_on"] = bike.first_used_on
    return [drafts.registered(form.stand.hand.actor, bike.tag, form.id, **found)]


def _other_tag(stand: Stand) -> None:
    """Draw the field for another tag of the same bike: from then on both are read as one."""
    form = Form(stand, "other tag")
    form.begin("tag")
    heard, name = bench_press.heard(), f"join-differ {stand.name}"
    is_refused = heard is not None and not heard.said.is_recorded and heard.form == form.name
    asked = tag_of(form.text("tag")) if st.session_state.get(name) else None
    asks = st.session_state[name][1] if asked and asked == st.session_state[name][0] else ""
    with st.expander("It has another tag too", expanded=is_refused or bool(asks)):
        bench_form.line(form, "tag", "The other tag", lambda: form.keep("tag"))
        if asks:
            show(bench_html.wild(asks))
            press_button("They are one bike: join them", "join-all-the-same", _join, form, True)
        else:
            press_button("Join them: one bike", "join-tags", _join, form)


def _join(form: Form, is_sure: bool = False) -> None:
    """Join both tags; where their makes or models differ, ask first."""
    stand = form.stand
    other = tag_of(form.text("tag"))

    def make() -> list[drafts.Draft]:
        return [drafts.linked(stand.hand.actor, form.id, stand.hand.bike, _joinable(stand, other))]

    differ = "" if is_sure or other is None else _differ(stand, other)
    st.session_state[f"join-differ {stand.name}"] = (other, differ) if differ else None
    if differ:
        bench_press.hear(None)
        return
    pieces.record(form, make, lambda: stand.go(step="bike"))


def _joinable(stand: Stand, other: str | None) -> str:
    """Give a tag that can be joined to this bike's; raises NotRead."""
    if other is None:
        raise NotRead("Type the other tag: eight signs, such as 4W3V QHRB.")
    if other not in data.tags(stand.book):
        raise NotRead(
            f"No bike has the tag {printed(other)}. Look for it at the bench: there it can be "
            "entered as the new tag of this bike."
        )
    if other in _own_tags(stand):
        raise NotRead(f"{printed(other)} and {printed(stand.hand.bike)} are one bike already.")
    return other


def _own_tags(stand: Stand) -> tuple[str, ...]:
    return (stand.bench.bike.tag, *stand.bench.bike.other_tags)


def _differ(stand: Stand, other: str) -> str:
    """Say that another tag's make or model is not this one's; empty where nothing differs."""
    if other in _own_tags(stand) or other not in data.tags(stand.book):
        return ""
    mine = stand.bench.bike
    their = bench_of(stand.book, other, stand.hand.actor, asker=data.asker()).bike
    pairs = ((mine.make, their.make), (mine.model, their.model))
    if all(not one or not two or one.casefold() == two.casefold() for one, two in pairs):
        return ""
    names = [f"{printed(one.tag)} is {data.name_of(one.make, one.model)}" for one in (mine, their)]
    return f"{', '.join(names)}. Are they one bike?"


# -- who rides ---------------------------------------------------------------------------------


def rider_view(stand: Stand, item: str | None) -> None:
    """Draw who rides and answers for the bike, and let somebody else be named."""
    bike = stand.bench.bike
    rider = data.person(stand.book, bike.rider) if bike.rider else "Rider not named"
    keeper = (
        data.person(stand.book, bike.keeper) if bike.keeper and bike.keeper != bike.rider else ""
    )
    pieces.head(stand, "rider", rider, small=f"kept by {keeper}" if keeper else "")
    form = Form(stand, "rider")
    form.begin(*TOLD)
    with st.container(key="bench_rider_search"):
        bench_form.line(
            form,
            "name",
            "Somebody else rides it: letters of the name",
            lambda: form.keep(*TOLD),
            is_live=True,
        )
    offered(form, "name", "", lambda rider: _rides(form, rider))
    press_button(
        "Keep it so" if bike.rider else "Go on without a name",
        "on-rider",
        _kept,
        stand,
        is_first=True,
    )


def _kept(stand: Stand) -> None:
    stand.left_out("steps").add("rider")
    pieces.go_on(stand, "rider")


def _rides(form: Form, rider: str) -> None:
    stand = form.stand
    pieces.record(
        form,
        lambda: [drafts.rider_set(stand.hand, form.id, rider)],
        lambda: pieces.go_on(stand, "rider"),
    )


# -- booking in --------------------------------------------------------------------------------


def booking_view(stand: Stand, item: str | None) -> None:
    """Draw the job that is open, with what came back; or the form that opens one."""
    if stand.bench.job is None:
        _book_in(stand)
        return
    job, words = stand.bench.job, stand.words
    pieces.head(
        stand,
        "booking",
        words.tier(job.tier) if job.tier else "Booked in",
        small=job.complaint or "",
    )
    ceiling = stand.money.money(job.ceiling_minor) if job.ceiling_minor else ""
    show(
        bench_html.beside(
            [
                ("Booked in", words.formats.moment(job.opened_at), ""),
                (
                    "Promised for",
                    words.formats.moment(job.promised_at) if job.promised_at else "no day",
                    "",
                ),
                ("Ask again above", ceiling, ""),
                ("Came with", job.came_with or "", ""),
                ("Waits for", job.waiting_for or "", ""),
            ]
        )
    )
    show(bench_html.listed("What came back", bench_worked.came_back_lines(stand.book, stand.bench)))
    _hold(stand)
    press_button("Go on", "on-booking", pieces.go_on, stand, "booking", is_first=True)


def _hold(stand: Stand) -> None:
    """Draw what holds the job, or lets it go on."""
    job = stand.bench.job
    if job is not None and job.waiting_for:
        name = "resume"
        press_button(
            "It goes on",
            "resume-job",
            stand.press,
            name,
            lambda: [drafts.job_resumed(stand.hand, stand.event_id(name))],
        )
        return
    with st.container(key="bench_hold", horizontal=True):
        for what in ("answer", "part", "payment", "other"):
            name = f"hold {what}"
            press_button(
                f"Waits for {_article(what)}",
                f"hold-{what}",
                stand.press,
                name,
                lambda name=name, what=what: [
                    drafts.job_held(stand.hand, stand.event_id(name), what)
                ],
            )


def _article(what: str) -> str:
    return {"answer": "an answer", "part": "a part", "payment": "payment"}.get(
        what, "something else"
    )


def _book_in(stand: Stand) -> None:
    pieces.head(stand, "booking", "Book in")
    form = Form(stand, "booking")
    typed = form.begin(*BOOKED)
    pieces.left_typed(form, typed, *BOOKED)

    def keep() -> None:
        form.keep(*BOOKED)

    tiers = {code: capital(stand.words.tier(code)) for code in stand.words.vocabulary.tiers}
    bench_form.presses(form, "tier", "Tier", tiers, keep)
    bench_form.line(form, "complaint", "What is wrong, in the rider's words", keep)
    bench_form.presses(form, "promised", "Promised for the end of", _days(stand), keep)
    above = f"Ask the keeper again before it costs more than, {stand.money.currency}"
    bench_form.line(form, "ceiling_minor", above, keep, is_number=True)
    bench_form.line(form, "came_with", "What came with the bike", keep)
    earlier = {one.job: _visit(stand, one) for one in earlier_visits(stand.book, stand.hand.bike)}
    if earlier:
        with st.expander("More: it comes back from an earlier job"):
            bench_form.presses(form, "come_back_of", "It answers for", earlier, keep)
    press_button("Book in", "record-booking", _booked, form, is_first=True)


def _visit(stand: Stand, one: EarlierVisit) -> str:
    """Give an earlier job by what it was and when."""
    tier = capital(stand.words.tier(one.tier)) if one.tier else "Without a tier"
    return f"{tier}, {stand.words.formats.day(one.opened_at)}"


def _days(stand: Stand) -> Mapping[str, str]:
    first = data.today(stand.book)
    days = [first + timedelta(days=day) for day in range(PROMISE_DAYS)]
    names = {0: "Today", 1: "Tomorrow"}
    return {
        day.isoformat(): names.get(place, stand.words.formats.weekday(day))
        for place, day in enumerate(days)
    }


def _booked(form: Form) -> None:
    stand = form.stand
    job = bench_worked.code_for(form.id, lambda: short_code("J"))

    def make() -> list[drafts.Draft]:
        asks = tuple(ask for ask in walk.BOOKING.asks if ask.field != "promised_at")
        found = payload(form, asks)
        if "ceiling_minor" in found:
            found["currency"] = stand.book.settings.currency
        found["come_back_of"] = form.value("come_back_of")
        if form.value("promised"):
            found["promised_at"] = format_moment(stand.book.instant(form.value("promised")))
        return [drafts.job_opened(stand.hand.actor, stand.hand.bike, job, form.id, **found)]

    pieces.record(form, make, lambda: stand.go(step="distance", job=job))


# -- how far it has gone -----------------------------------------------------------------------

ODOMETER = Ask("odometer", "The bike's computer shows", "amount", is_needed=True)
FAR = ("odometer", "source", "computer_replaced")


def distance_view(stand: Stand, item: str | None) -> None:
    """Draw the last distance, and the field for this one; a bike without a computer has none."""
    bike, words = stand.bench.bike, stand.words
    pieces.head(stand, "distance", "Distance")
    form = Form(stand, "distance", {"source": "read"})
    typed = form.begin(*FAR)
    last = (
        words.formats.figure(bike.distance_km, "km")
        if bike.distance_km is not None
        else "never read"
    )
    when = words.formats.day(bike.distance_at) if bike.distance_at else ""
    show(bench_html.beside([("Last", last, when)]))
    pieces.left_typed(form, {k: v for k, v in typed.items() if k == "odometer"}, *FAR)

    def keep() -> None:
        form.keep(*FAR)

    with st.container(key="bench_entry", horizontal=True, vertical_alignment="bottom"):
        bench_form.line(form, "odometer", "The bike's computer shows, km", keep, is_number=True)
        show('<span class="lk-unit">km</span>')
        press_button("Record", "record-distance", _went, form, is_first=True)
    sources = {"read": "Read off it", "told": "Told by the rider", "estimated": "Estimated"}
    bench_form.presses(form, "source", "How it is known", sources, keep)
    replaced = {"yes": "Another computer since the last reading"}
    bench_form.presses(form, "computer_replaced", "The computer", replaced, keep)
    with st.container(key="bench_ways_out", horizontal=True):
        press_button("No computer: leave out", "leave-distance", _no_computer, stand)


def _went(form: Form) -> None:
    stand = form.stand
    pieces.record(
        form,
        lambda: [
            drafts.distance(
                stand.hand,
                form.id,
                payload(form, (ODOMETER,), "km")["odometer"],
                source=form.value("source") or "read",
                is_computer_replaced=form.value("computer_replaced") == "yes",
            )
        ],
        lambda: pieces.go_on(stand, "distance"),
    )


def _no_computer(stand: Stand) -> None:
    stand.leave_out("steps", "distance")
    pieces.go_on(stand, "distance")
