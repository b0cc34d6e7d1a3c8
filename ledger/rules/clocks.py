"""Rules about clocks: one for each pair of hands, stopped where it runs, and on the same day."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from ledger.events import Event, kinds
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses, warns, when
from ledger.state import BikeState, in_order

_LOG_INSTEAD = "Enter the minutes worked afterwards instead (labour_logged, by clock log)"
_MINUTE = timedelta(minutes=1)
_A_DAY = 24 * 60


def _clocks(state: BikeState, event: Event, facts: BookFacts) -> list[Event]:
    """Give the mechanic's starts and stops on any bike, with what runs here, in order."""
    clocks = [*facts.labour_events.get(event.actor, ()), *state.running.values()]
    own = {clock.id: clock for clock in clocks if clock.actor == event.actor}
    return in_order((own | {event.id: event}).values())


@refuses("labour_already_running", "a second clock of one mechanic, on any bike", "labour_started")
def labour_already_running(
    state: BikeState, event: kinds.LabourStarted, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to run two clocks for one pair of hands."""
    clocks = _clocks(state, event, facts)
    place = next(index for index, clock in enumerate(clocks) if clock.id == event.id)
    before, after = clocks[max(place - 1, 0) : place], clocks[place + 1 : place + 2]
    is_over = any(clock.kind == "labour_stopped" for clock in after)
    for other in (*before, *after):
        if other.kind != "labour_started":
            continue
        since = f"on job {other.job} from {when(other, facts)}"
        wrong, right = (
            f"{event.actor}'s clock runs {since}",
            "Stop that clock first (labour_stopped)",
        )
        if is_over or other in after:
            wrong, right = f"{event.actor}'s clock ran {since}", _LOG_INSTEAD
        yield Finding("actor", wrong, right)


@refuses("labour_not_started", "a clock stopped that does not run on that job", "labour_stopped")
def labour_not_started(
    state: BikeState, event: kinds.LabourStopped, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to stop what was not started."""
    running = state.running.get(event.actor)
    if running is None or running.job != event.job:
        wrong = f"no clock of {event.actor} runs on job {event.job} then"
        right = "Start it first (labour_started), or enter the minutes (labour_logged)"
        yield Finding("job", wrong, right)


@refuses("labour_still_running", "a job closed while a clock runs on it", "job_closed")
def labour_still_running(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to close over a running clock, which nothing could stop afterwards."""
    for actor, started in sorted(state.running.items()):
        if started.job == event.job:
            wrong = f"{actor}'s clock runs on it from {when(started, facts)}"
            yield Finding("job", wrong, "Stop it first (labour_stopped)")


def _started(state: BikeState, event: kinds.LabourStopped) -> kinds.LabourStarted | None:
    """Give the start of the clock that a stop is of."""
    running = state.running.get(event.actor)
    return running if running is not None and running.job == event.job else None


@refuses(
    "clock_forgotten",
    "a clock stopped on another day than it was started, without the minutes worked",
    "labour_stopped",
)
def clock_forgotten(
    state: BikeState, event: kinds.LabourStopped, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to take a night for work: nobody knows when a forgotten clock should have stopped."""
    started = _started(state, event)
    if started is None or event.data.minutes is not None:
        return
    wrong = f"{event.actor}'s clock runs since {when(started, facts)}, another day"
    right = "Enter the minutes worked (minutes), or when it should have stopped (occurred_at)"
    yield Finding("data.minutes", wrong, right)


@warns(
    "minutes_above_clock", "more minutes entered than the clock they are of ran", "labour_stopped"
)
def minutes_above_clock(
    state: BikeState, event: kinds.LabourStopped, facts: BookFacts
) -> Iterator[Finding]:
    """Warn of minutes that the clock cannot have counted."""
    started = _started(state, event)
    if started is None or event.data.minutes is None:
        return
    ran = -((started.occurred_at - event.occurred_at) // _MINUTE)
    if event.data.minutes > ran:
        wrong = f"{event.data.minutes} minutes are more than the {ran} the clock ran"
        yield Finding("data.minutes", wrong, "Log what was worked besides (labour_logged)")


@warns(
    "minutes_above_a_day",
    "more minutes entered at once than a day has",
    *("labour_stopped", "labour_logged", "goodwill_given"),
)
def minutes_above_a_day(
    state: BikeState,
    event: kinds.LabourStopped | kinds.LabourLogged | kinds.GoodwillGiven,
    facts: BookFacts,
) -> Iterator[Finding]:
    """Warn of a figure that one pair of hands cannot have worked on one day."""
    minutes = event.data.minutes
    if minutes is not None and minutes > _A_DAY:
        wrong = f"{minutes} minutes are more than the {_A_DAY} of a day"
        yield Finding("data.minutes", wrong, "Strike it and enter what was worked, day by day")


RULES = (
    labour_already_running,
    labour_not_started,
    labour_still_running,
    clock_forgotten,
    minutes_above_clock,
    minutes_above_a_day,
)
