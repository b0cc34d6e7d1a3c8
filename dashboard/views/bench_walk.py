"""The bike on the stand: whose clock runs, the walk as a scale, and the one open item."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import streamlit as st

from dashboard import bench_html, data, time_clock
from dashboard.bench_address import STEPS, bench_asked
from dashboard.bench_place import ALL, SHORT, items, stands_at
from dashboard.bench_press import hear
from dashboard.bench_stand import Stand, stand_of
from dashboard.bench_words import TASK_OF_STEP, clock_minutes
from dashboard.time_clock import Said
from dashboard.views import bench_jobs
from dashboard.views import bench_pieces as pieces
from dashboard.views.bench_door import close_view, hand_back_view
from dashboard.views.bench_look import inspect_view
from dashboard.views.bench_measure import measure_view
from dashboard.views.bench_money import answer_view, quote_view
from dashboard.views.bench_more import more_view
from dashboard.views.bench_pieces import press_button, show
from dashboard.views.bench_set import pressures_view, torque_view
from dashboard.views.bench_start import bike_view, booking_view, distance_view, rider_view
from dashboard.views.bench_work import work_view
from ledger import clocks
from ledger.bench.shapes import Place, StepAt
from ledger.book import Book
from ledger.errors import LedgerError

VIEWS: dict[str, Callable[[Stand, str | None], None]] = {
    "bike": bike_view,
    "rider": rider_view,
    "booking": booking_view,
    "distance": distance_view,
    "inspect": inspect_view,
    "measure": measure_view,
    "quote": quote_view,
    "answer": answer_view,
    "work": work_view,
    "torque": torque_view,
    "pressures": pressures_view,
    "hand_back": hand_back_view,
    "close": close_view,
}
WHOLE, CLOCK_SAID = "bench_whole_walk", "bench_clock_said"
BOOKED = ("labour_stopped", "labour_logged")
MOVES = ("labour_started", "labour_stopped")


@st.fragment
def walk_view(actor: str) -> None:
    """Draw the bike in the address and its walk; a press redraws this and nothing else.

    Nothing here renews itself: a run the page asks for by itself may follow that of a press so
    closely that what stood there before the press stays beside what it opened, or that the step
    it opened is gone again. The minutes of the clock go on in the browser.
    """
    head = st.container(key="bench_head", horizontal=True, vertical_alignment="center")
    bench = st.container(key="bench")
    try:
        stand = stand_of(data.open_book(), bench_asked(st.query_params), actor)
        with head:
            _head(stand)
        with bench:
            _walk(stand)
    except LedgerError as error:
        with bench:
            show(bench_html.refused(" ".join(str(error).split())))


def _walk(stand: Stand) -> None:
    if bench_jobs.is_asked(stand):
        with st.container(key="bench_item"):
            bench_jobs.jobs_view(stand)
        return
    at = stands_at(stand)
    _hold_address(stand, at.place)
    _scale(stand, at.place)
    pieces.in_book(stand)
    with st.container(key="bench_item"):
        if at.wild:
            show(bench_html.wild(at.wild))
        VIEWS[at.place.step](stand, at.place.item)
    bench_jobs.switch(stand)
    more_view(stand, at.place)


def _hold_address(stand: Stand, place: Place) -> None:
    """Hold the address to the step and item shown: a page loaded again stands there again."""
    job = stand.bench.job.job if stand.bench.job and len(stand.bench.jobs) > 1 else ""
    wanted = stand.asked.params(step=place.step, item=place.item or "", job=job)
    if st.query_params.to_dict() != wanted:
        st.query_params.from_dict(wanted)


# -- the scale ---------------------------------------------------------------------------------


def _scale(stand: Stand, place: Place) -> None:
    """Draw the steps as strokes to press; on a phone the one step, with those beside it."""
    is_whole = bool(st.session_state.get(WHOLE))
    with st.container(key="bench_steps" if not is_whole else "bench_steps-whole", horizontal=True):
        for step in stand.bench.steps:
            state = "now" if step.key == place.step else _state(step)
            with st.container(key=f"stroke-{state} {step.key}"):
                press_button(SHORT[step.key], f"go-{step.key}", _go_to, stand, step.key)
    index = STEPS.index(place.step)
    with st.container(key="bench_here", horizontal=True, vertical_alignment="center"):
        press_button("‹", "step-back", _go_to, stand, STEPS[max(0, index - 1)], is_off=index == 0)
        press_button(
            f"{index + 1} of {len(STEPS)}, {SHORT[place.step]}", "step-all", _unfold, is_wide=True
        )
        press_button(
            "›",
            "step-on",
            _go_to,
            stand,
            STEPS[min(len(STEPS) - 1, index + 1)],
            is_off=index == len(STEPS) - 1,
        )


def _state(step: StepAt) -> str:
    """Give how a step is drawn; the one the entries have come to is done as far as it goes."""
    if step.state == "now":
        return "done" if step.count_done else "to_come"
    return step.state.replace(" ", "_")


def _unfold() -> None:
    st.session_state[WHOLE] = not st.session_state.get(WHOLE)


def _go_to(stand: Stand, step: str) -> None:
    known = items(stand.bench, step)
    is_over = bool(known) and all(known.values())
    hear(None)
    stand.go(step=step, item=ALL if is_over else "")
    st.session_state[WHOLE] = False


# -- the head ----------------------------------------------------------------------------------


def _head(stand: Stand) -> None:
    """Draw which bike this is, the mechanic's clock on it, and who else is at it."""
    bench, words = stand.bench, stand.words
    name = data.name_of(bench.bike.make, bench.bike.model)
    if not bench.bike.make and bench.bike.description:
        name = bench.bike.description
    rider = data.person(stand.book, bench.bike.rider) if bench.bike.rider else "rider not named"
    tier = words.tier(bench.job.tier) if bench.job and bench.job.tier else ""
    show(bench_html.bike_head(bench.bike, name, ", ".join(filter(None, (rider, tier)))))
    if bench.job is not None and not bench_jobs.is_asked(stand):
        _clock(stand)
    if bench.others:
        show(bench_html.holders(bench.others, words))


def _clock(stand: Stand) -> None:
    """Draw the clock of whoever works: its minutes, and what moves it in one press."""
    own, minutes = stand.bench.clock, _minutes_before(stand)
    paused = own is None and _is_paused(stand)
    with st.container(key="bench_clock", horizontal=True, vertical_alignment="center"):
        seconds = None
        if own is not None:
            now = datetime.now(UTC)
            seconds = minutes * 60 + max(0, int((now - own.since).total_seconds()))
            minutes += clock_minutes(own.since, now)
        if own is not None or paused or minutes:
            said = "paused" if paused else stand.words.task(own.task) if own else "stopped"
            show(bench_html.clock(stand.money.figure(minutes), said, seconds))
        if own is not None:
            press_button("Pause", "bench-pause", _move, stand, time_clock.paused)
            press_button("Stop", "bench-stop", _move, stand, time_clock.stopped)
        elif paused:
            press_button("Go on", "bench-resume", _move, stand, time_clock.resumed)
            press_button("Stop", "bench-end", _move, stand, time_clock.stopped)
        else:
            press_button("Start clock", "bench-start", _start, stand)
    heard = st.session_state.get(CLOCK_SAID)
    if heard is not None and not heard.is_recorded:
        show(bench_html.refused(heard.words))
        if heard.again is not None:
            press_button("They are right: record it", "bench-clock-again", _again, heard.again)


def _minutes_before(stand: Stand) -> int:
    """Give the minutes this mechanic has on this job already."""
    own = (
        one.data.get("minutes") for one in stand.bench.entries if one.is_own and one.kind in BOOKED
    )
    return sum(int(minutes) for minutes in own if minutes)


def _is_paused(stand: Stand) -> bool:
    """Say whether this mechanic's last stop here was a pause."""
    moves = [one for one in stand.bench.entries if one.is_own and one.kind in MOVES]
    return (
        bool(moves) and moves[0].kind == "labour_stopped" and bool(moves[0].data.get("is_paused"))
    )


def _move(stand: Stand, act: Callable[[Book, clocks.RunningClock], Said]) -> None:
    """Move this mechanic's clock on this job, as it stands when it is pressed."""
    found = clocks.running(stand.book, asker=data.asker())
    own = [one for one in found if (one.mechanic, one.job) == (stand.hand.actor, stand.hand.job)]
    if own:
        st.session_state[CLOCK_SAID] = act(stand.book, own[0])


def _again(act: Callable[[], Said]) -> None:
    st.session_state[CLOCK_SAID] = act()


def _start(stand: Stand) -> None:
    step = bench_asked(st.query_params).step or stand.bench.at.step
    mine = [one for one in stand.bench.entries if one.is_own and one.kind == "labour_started"]
    task = str(mine[0].data["task"]) if mine else TASK_OF_STEP[step]
    on = clocks.OpenJob(stand.hand.bike, stand.hand.job or "", None)
    st.session_state[CLOCK_SAID] = time_clock.started(
        stand.book, stand.hand.actor, on, task, "quoted"
    )
