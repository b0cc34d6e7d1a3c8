"""Who is on what: clocks with their buttons, and a form to start one or to enter minutes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import streamlit as st

from dashboard import data, newest, time_clock
from dashboard.labour_address import TimeAsked
from dashboard.markup import capital, text
from dashboard.time_clock import Said
from dashboard.views.time_shown import Shown, note
from ledger.asking import is_theirs
from ledger.clocks import KINDS, OpenJob, RunningClock

SAID = "clock_said"
LONGEST_MINUTES = 10_000


@st.fragment(run_every=60)
def clocks_view(shown: Shown[TimeAsked]) -> None:
    """Draw the clocks as they stand now, once a minute and after each press."""
    newest.mark_part(shown.book)
    found = time_clock.running(shown.book)
    with st.container(key="clocks"):
        if found:
            st.html(f'<p class="lk-headline">{text(time_clock.title(found, shown.say))}</p>')
        for place, clock in enumerate(found):
            _clock(shown, clock, place)
        _said()
        _unfolding(shown)


def _unfolding(shown: Shown[TimeAsked]) -> None:
    """Draw the form, folded; what it offers is looked up when it is unfolded."""
    st.session_state["clock_form"] = st.query_params.get("clock") == "1"
    fold = st.expander(
        "Start a clock, or enter minutes",
        key="clock_form",
        on_change=lambda: shown.go(clock=bool(st.session_state["clock_form"])),
    )
    if fold.open:
        with fold:
            _form(shown)


def _said() -> None:
    """Draw what came of the last press."""
    said: Said | None = st.session_state.get(SAID)
    if said is not None:
        name = "lk-note" if said.is_recorded else "lk-caution"
        st.html(f'<p class="{name} lk-heard" role="status">{text(said.words)}</p>')
        if said.again is not None:
            _button("They are right: record it", "check", "clock_again", said.again)


def _press(act: Callable[[], Said]) -> None:
    st.session_state[SAID] = act()


def _clock(shown: Shown[TimeAsked], clock: RunningClock, place: int) -> None:
    book, key = shown.book, f"{clock.mechanic}-{clock.job}-{clock.task}-{place}"
    with st.container(key=f"clock-{place}", horizontal=True, vertical_alignment="center"):
        st.html(time_clock.clock_line(clock, shown.words, shown.say))
        if not is_theirs(data.asker(), clock.mechanic):
            return
        if clock.is_forgotten:
            _forgotten(shown, clock, key)
            return
        if clock.is_paused:
            _button(
                "Resume", "play_arrow", f"resume-{key}", lambda: time_clock.resumed(book, clock)
            )
            _button("End", "stop", f"stop-{key}", lambda: time_clock.stopped(book, clock))
            return
        _button("Pause", "pause", f"pause-{key}", lambda: time_clock.paused(book, clock))
        _button("Stop", "stop", f"stop-{key}", lambda: time_clock.stopped(book, clock))


def _button(label: str, icon: str, key: str, act: Callable[[], Said]) -> None:
    st.button(label, key=key, icon=f":material/{icon}:", on_click=_press, args=(act,))


def _forgotten(shown: Shown[TimeAsked], clock: RunningClock, key: str) -> None:
    """Offer what ends a forgotten clock: the minutes that were worked."""
    typed = f"minutes-{key}"
    st.number_input("Minutes worked", min_value=0, max_value=LONGEST_MINUTES, value=None, step=5,
                    key=typed, placeholder="?", width=150)  # fmt: skip
    _button("Stop with these", "stop", f"stop-{key}",
            lambda: time_clock.stopped(shown.book, clock, st.session_state[typed]))  # fmt: skip


# -- the form ---------------------------------------------------------------------------------


def _form(shown: Shown[TimeAsked]) -> None:
    asker, jobs = data.asker(), time_clock.open_jobs(shown.book)
    mechanics = [one for one in sorted(shown.book.mechanics) if is_theirs(asker, one)]
    if not mechanics:
        note("Nobody works here yet: register a mechanic with lockring record mechanic_registered.")
        return
    if not jobs:
        note("No job is open. Book a bike in first, with lockring record --follow.")
        return
    with st.container(key="clock_fields"):
        _choice("Mechanic", "clock_mechanic", mechanics, str, "Who?")
        _choice("Bike and job", "clock_job", jobs, lambda one: _job_label(shown, one), "Which?")
        tasks = list(shown.words.vocabulary.tasks)
        _choice("Task", "clock_task", tasks, lambda one: capital(shown.say.task(one)), "At what?")
        st.selectbox("Kind", KINDS, key="clock_kind", format_func=capital)
        st.number_input("Minutes, where entered afterwards", min_value=1,
                        max_value=LONGEST_MINUTES, value=None, step=5, key="clock_minutes",
                        placeholder="None: the clock runs")  # fmt: skip
    minutes = st.session_state["clock_minutes"]
    label = f"Enter {minutes} minutes" if minutes else "Start the clock"
    _button(label, "edit" if minutes else "play_arrow", "clock_press", lambda: _entered(shown))


def _choice(
    label: str, key: str, options: list[Any], named: Callable[[Any], str], ask: str
) -> None:
    """Offer a choice that nobody made yet, unless there is but one."""
    index = 0 if len(options) == 1 else None
    st.selectbox(label, options, index=index, key=key, format_func=named, placeholder=ask)


def _entered(shown: Shown[TimeAsked]) -> Said:
    """Record what the form says when it is pressed, not when it was drawn."""
    names = ("mechanic", "job", "task", "kind", "minutes")
    mechanic, on, task, kind, minutes = (st.session_state[f"clock_{name}"] for name in names)
    if None in (mechanic, on, task):
        return Said(time_clock.INCOMPLETE, False)
    if minutes:
        return time_clock.logged(shown.book, mechanic, on, task, kind, int(minutes))
    return time_clock.started(shown.book, mechanic, on, task, kind)


def _job_label(shown: Shown[TimeAsked], one: OpenJob) -> str:
    return f"{one.bike}, job {one.job}, {shown.say.tier(one.tier)}"
