"""The relation of clocks that run or are paused: literal events in, and held to a loop."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from lives import START, literal
from shelf import Asked, rows_of

from ledger.events import Event
from ledger.state import in_order, live
from tests.strategies import Life, Move, life_of

NAMES = ("actor", "job", "task", "minutes_kind", "is_paused", "minutes_before")


def events(*told: tuple[str, str, str, dict[str, Any]]) -> list[Event]:
    """Give (mechanic, job, kind, payload), one an hour."""
    made = literal(*((hour, kind, data) for hour, (_, _, kind, data) in enumerate(told)))
    return [
        event.model_copy(update={"actor": actor, "job": job})
        for event, (actor, job, _, _) in zip(made, told, strict=True)
    ]


def start(actor: str, job: str, task: str, kind: str = "quoted") -> tuple[str, str, str, Any]:
    return actor, job, "labour_started", {"task": task, "minutes_kind": kind}


def stop(actor: str, job: str, minutes: int, **more: Any) -> tuple[str, str, str, Any]:
    return actor, job, "labour_stopped", {"minutes": minutes, **more}


def found(*told: tuple[str, str, str, dict[str, Any]]) -> list[tuple[Any, ...]]:
    rows = rows_of("open_clocks", events(*told))
    return sorted(tuple(row[name] for name in NAMES) for row in rows)


def test_a_started_clock_runs_and_a_stopped_one_does_not() -> None:
    """Each mechanic's last word on a job counts."""
    told = (start("m1", "J1", "brakes"), start("m2", "J1", "gears"), stop("m2", "J1", 5))
    assert found(*told) == [("m1", "J1", "brakes", "quoted", False, 0)]


def test_a_paused_clock_keeps_its_task_and_minutes() -> None:
    """What was worked before counts, of that mechanic, job, task and kind alone."""
    told = (
        start("m1", "J1", "brakes"), stop("m1", "J1", 5), start("m1", "J1", "gears"),
        stop("m1", "J1", 7, is_paused=True), start("m2", "J1", "gears"), stop("m2", "J1", 9),
        start("m1", "J2", "gears", "goodwill"),
    )  # fmt: skip
    assert found(*told) == [
        ("m1", "J1", "gears", "quoted", True, 7),
        ("m1", "J2", "gears", "goodwill", False, 0),
    ]
    again = start("m1", "J1", "gears")
    assert found(*told[:-1], again) == [("m1", "J1", "gears", "quoted", False, 7)]


def test_nothing_of_a_closed_job_is_paused() -> None:
    """A clock that was paused and never resumed ends with its job."""
    told = (start("m1", "J1", "brakes"), stop("m1", "J1", 5, is_paused=True))
    assert found(*told, ("m1", "J1", "job_closed", {})) == []


def by_hand(stored: list[Event], at: datetime) -> set[tuple[Any, ...]]:
    """Walk the live events and keep what is open, one clock after the other."""
    clocks: dict[tuple[Any, ...], tuple[Any, ...]] = {}
    for event in in_order(live(stored, at)):
        key = (event.bike, event.job, event.actor)
        if event.kind == "labour_started":
            data = event.data
            clocks[key] = (data.task, data.minutes_kind, False, event.occurred_at)
        elif event.kind == "labour_stopped":
            task, kind = clocks.pop(key, (None, None))[:2]
            if event.data.is_paused:
                clocks[key] = (task, kind, True, event.occurred_at)
        elif event.kind == "job_closed":
            clocks = {one: what for one, what in clocks.items() if one[1] != event.job}
    return {(*key, *what) for key, what in clocks.items()}


CLOCK_LIVES = st.lists(
    st.builds(
        Move,
        kind=st.sampled_from(
            ["job_opened", "labour_started", "labour_started", "labour_stopped", "labour_stopped",
             "labour_logged", "event_struck", "job_closed", "restored"]
        ),
        bike=st.sampled_from((0, 0, 1)),
        pick=st.integers(0, 60),
        other=st.integers(0, 59),
        hours=st.sampled_from((0, 1, 2)),
        back=st.sampled_from((0, 0, 0, 0, 1, 2)),
    ),
    min_size=10,
    max_size=40,
).map(life_of)  # fmt: skip


@given(life=CLOCK_LIVES, which=st.integers(0, 10**6))
def test_the_relation_agrees_with_a_loop_at_any_date(life: Life, which: int) -> None:
    """On random lives that the rules accept, at a random instant."""
    instants = life.instants()
    at = instants[which % len(instants)]
    stored = list(life.events)
    names = ("bike", "job", "actor", "task", "minutes_kind", "is_paused", "since")
    asked = Asked(at, 10**6)
    rows = {tuple(row[name] for name in names) for row in rows_of("open_clocks", stored, asked)}
    assert rows == by_hand(stored, at)


def test_lives_have_clocks_that_run_and_such_that_are_paused() -> None:
    """The random lives of the test above meet what it is for."""
    hour = Move("", 0, 3, 0, 1, 0)
    kinds = ("job_opened", "labour_started", "labour_stopped", "labour_started")
    life = life_of([hour._replace(kind=kind) for kind in kinds])
    late = START + timedelta(days=4000)
    states = {row[5] for row in by_hand(list(life.events), late)}
    assert states == {False}
    assert {row[5] for row in by_hand(list(life.events[:-1]), late)} == {True}
