"""The relations of faults and of what visits took: literal events in, explicit rows out."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from lives import START, event_id, literal
from shelf import rows_of

from ledger.events import Event

Told = tuple[str, str, dict[str, Any]]
"""Job ("" for none), kind, payload; an hour apart."""


def events(*told: Told, hours: tuple[int, ...] = ()) -> list[Event]:
    """Give events of one bike, one an hour, or at these hours."""
    made = literal(
        *((hours[n] if hours else n, kind, data) for n, (_, kind, data) in enumerate(told))
    )
    return [
        event.model_copy(update={"job": job or None})
        for event, (job, _, _) in zip(made, told, strict=True)
    ]


def at(hour: int) -> datetime:
    return START + timedelta(hours=hour)


def found(job: str, cause: str | None = None, verdict: str = "due") -> Told:
    data = {"position": "crank", "verdict": verdict, "fault": "loose"}
    return job, "inspected", {**data, "cause": cause} if cause else data


def gone(job: str) -> Told:
    return found(job, verdict="within limit")


def cured(job: str, cause: str | None = None) -> Told:
    right = {"fault": "loose", **({"cause": cause} if cause else {})}
    return job, "adjusted", {"position": "crank", "puts_right": right}


def searched(job: str, cause: str | None = None) -> Told:
    data = {"position": "crank", "symptom": "loose", "why_stopped": "other"}
    return job, "diagnosed", {**data, "cause": cause} if cause else data


def picked(relation: str, told: list[Event], *names: str, by: str = "seq") -> list[tuple[Any, ...]]:
    rows = sorted(rows_of(relation, told), key=lambda row: row[by])
    return [tuple(row[name] for name in names) for row in rows]


def spans(*told: Told) -> list[tuple[Any, ...]]:
    """Give (found_seq, put_right_seq) of the episodes."""
    names = ("found_seq", "put_right_seq")
    return picked("fault_episodes", events(*told), *names, by="found_seq")


def answers(*told: Told) -> list[tuple[Any, ...]]:
    """Give (found_seq, answers_seq, is_cause_told) of the repeats."""
    names = ("found_seq", "answers_seq", "is_cause_told")
    return picked("fault_repeats", events(*told), *names, by="found_seq")


def test_a_mark_finds_puts_right_or_clears_a_fault() -> None:
    """What was not checked, and what names no fault, is no mark; work may be of another place."""
    loose = {"fault": "loose", "position": "crank"}
    told = events(
        found("J1"),
        ("J1", "inspected", {"position": "crank", "verdict": "not checked", "fault": "loose",
                             "why_not_checked": "dark"}),
        ("J1", "inspected", {"position": "crank", "verdict": "due"}),
        searched("J1", "bent"),
        ("J1", "treated", {"position": "bottom_bracket", "treatment": "greased",
                           "puts_right": loose}),
        gone("J2"),
    )  # fmt: skip
    assert picked("fault_marks", told, "seq", "kind", "position", "cause", "outcome", "job") == [
        (1, "inspected", "crank", None, None, "J1"),
        (4, "diagnosed", "crank", "bent", "other", "J1"),
        (5, "treated", "crank", None, "greased", "J1"),
        (6, "inspected", "crank", None, None, "J2"),
    ]


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ([found("J1"), searched("J1"), cured("J1")], [(1, 3)]),
        ([found("J1"), cured("J1"), found("J2"), cured("J2")], [(1, 2), (3, 4)]),
        ([found("J1"), cured("J1"), cured("J1")], [(1, 3)]),
        ([found("J1"), cured("J1"), cured("J2")], [(1, 2), (3, 3)]),
        ([found(""), cured(""), cured("")], [(1, 2), (3, 3)]),
        ([gone("J1"), gone("J1")], []),
        ([gone("J1"), cured("J1")], [(2, 2)]),
        ([gone("J1"), found("J1")], [(2, None)]),
        ([found("J1"), gone("J1"), cured("J1")], [(1, 3)]),
        ([found("J1"), gone("J1"), cured("J2")], [(1, None), (3, 3)]),
        ([found("J1"), gone("J2"), found("J2")], [(1, None), (3, None)]),
        ([found("J1"), cured("J1"), gone("J1"), gone("J2")], [(1, 2)]),
        ([cured("J1"), found("J1"), cured("J1")], [(1, 1), (2, 3)]),
    ],
)
def test_where_an_episode_begins_and_what_puts_it_right(
    told: list[Told], expected: list[tuple[Any, ...]]
) -> None:
    """At the first telling mark, an opening after work, and work after work of another job."""
    assert spans(*told) == expected


def test_an_episode_tells_its_last_cause_and_verdict_and_when_it_ended() -> None:
    """A cause given with the repair counts; a search gives no verdict."""
    told = events(
        found("J1", "glazed", "watch"), searched("J1", "bent"), found("J1", None, "unsafe"),
        cured("J1", "glazed"), found("J2"), gone("J3"), gone("J4"), cured("J5"),
    )  # fmt: skip
    names = ("found_seq", "cause", "verdict", "cleared_at", "ended_at", "is_found_recorded")
    assert picked("fault_episodes", told, *names, by="found_seq") == [
        (1, "glazed", "unsafe", None, at(3), True),
        (5, None, "due", at(5), at(5), True),
        (8, None, None, None, at(7), False),
    ]


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ([found("J1"), cured("J1"), found("J2")], [(3, 1, False)]),
        ([found("J1", "bent"), cured("J1"), found("J2", "bent")], [(3, 1, True)]),
        ([found("J1", "bent"), cured("J1"), found("J2", "glazed")], []),
        ([found("J1", "bent"), cured("J1"), found("J2")], [(3, 1, False)]),
        ([found("J1"), cured("J1"), found("J2", "bent")], [(3, 1, False)]),
        ([found("J1"), gone("J1"), found("J2")], []),
        ([found("J1"), found("J2")], []),
        ([found("J1"), cured("J1"), found("J1")], []),
        ([found(""), cured(""), found("")], [(3, 1, False)]),
        ([cured("J1", "bent"), cured("J2", "glazed"), found("J3", "bent")], [(3, 1, True)]),
        ([cured("J1", "bent"), cured("J2"), found("J3", "bent")],
         [(2, 1, False), (3, 2, False)]),
        ([cured("J1"), cured("J2", "bent"), found("J3", "bent")],
         [(2, 1, False), (3, 2, True)]),
        ([cured("J1", "bent"), cured("J2", "glazed"), found("J3")], [(3, 2, False)]),
    ],
)  # fmt: skip
def test_what_was_found_again_answers_the_latest_repair_that_does_not_contradict(
    told: list[Told], expected: list[tuple[Any, ...]]
) -> None:
    """Not one of another cause, nor one of the very job it was found in, nor a clearing."""
    assert answers(*told) == expected


def test_the_latest_repair_is_the_last_to_occur_not_to_be_recorded() -> None:
    """A repair entered late answers for what was found after it, not before."""
    told = events(cured("J2"), cured("J1", "bent"), found("J3", "bent"), hours=(5, 1, 9))
    names = ("found_seq", "answers_seq", "is_cause_told")
    assert picked("fault_repeats", told, *names, by="found_seq") == [(1, 2, False), (3, 1, False)]


def test_a_struck_repair_put_nothing_right() -> None:
    """What a strike voids is no mark: the two findings are one episode."""
    strike = {"target": event_id(2), "reason": "another bike"}
    told = events(found("J1"), cured("J1"), found("J2"), ("J2", "event_struck", strike))
    names = ("found_seq", "put_right_seq")
    assert picked("fault_episodes", told, *names, by="found_seq") == [(1, None)]
    assert picked("fault_repeats", told, "found_seq") == []


def test_minutes_of_a_clock_are_of_what_it_was_started_with() -> None:
    """Task and kind of a stopped clock are those of its start; goodwill has its own kind."""
    told = events(
        ("J1", "labour_started", {"task": "true_wheel", "minutes_kind": "come-back"}),
        ("J1", "labour_stopped", {"minutes": 12}),
        ("J1", "labour_logged", {"task": "gears", "minutes": 30, "minutes_kind": "found later"}),
        ("J1", "goodwill_given", {"minutes": 5}),
        ("J1", "goodwill_given", {"value_minor": 400, "currency": "EUR"}),
        ("J1", "labour_stopped", {"minutes": 1}),
    )
    assert picked("labour_spells", told, "seq", "task", "minutes", "minutes_kind") == [
        (2, "true_wheel", 12, "come-back"),
        (3, "gears", 30, "found later"),
        (4, None, 5, "goodwill"),
        (6, None, 1, None),
    ]


def test_a_job_knows_what_was_said_judged_and_worked() -> None:
    """The last judgement counts; minutes are summed by kind; an unopened job is none."""
    told = events(
        ("J1", "job_opened", {"tier": "overhaul", "riding": "touring"}),
        ("J2", "job_opened", {"come_back_of": "J1"}),
        ("J1", "labour_logged", {"task": "gears", "minutes": 30}),
        ("J1", "labour_logged", {"task": "gears", "minutes": 7}),
        ("J2", "labour_logged", {"task": "gears", "minutes": 9, "minutes_kind": "come-back"}),
        ("J1", "job_closed", {}),
        ("J2", "come_back_judged", {"is_come_back": True, "answers": "J1"}),
        ("J2", "come_back_judged", {"is_come_back": False}),
        ("J3", "labour_logged", {"task": "gears", "minutes": 5}),
    )
    opened = ("job", "tier", "opened_at", "closed_at", "riding", "come_back_of")
    assert picked("job_facts", told, *opened, by="job") == [
        ("J1", "overhaul", at(0), at(5), "touring", None),
        ("J2", None, at(1), None, "touring", "J1"),
    ]
    judged = ("judged_is_come_back", "judged_answers", "minutes_quoted", "minutes_come_back")
    assert picked("job_facts", told, *judged, by="job") == [
        (None, None, 37, 0),
        (False, None, 0, 9),
    ]
    assert picked("said_come_backs", told, "seq", "kind", "answers") == [
        (2, "job_opened", "J1"),
        (7, "come_back_judged", "J1"),
    ]
    assert picked("judged_come_backs", told, "seq", "is_come_back") == [(7, True), (8, False)]


def test_preventive_work_and_what_looked_fine_are_told_by_position() -> None:
    """Only what was done before any trouble is preventive; readings within limit are looks too."""
    value = {"value": "1", "unit": "mm", "canonical": "1"}
    told = events(
        ("J1", "treated", {"position": "chain", "treatment": "lubricated", "is_preventive": True}),
        ("J1", "treated", {"position": "chain", "treatment": "cleaned"}),
        gone("J1"),
        found("J1"),
        ("J1", "measured", {"position": "chain", "quantity": "thickness", "value": value,
                            "verdict": "within limit"}),
    )  # fmt: skip
    assert picked("preventive_work", told, "seq", "treatment") == [(1, "lubricated")]
    assert picked("position_looks", told, "seq", "position") == [(3, "crank"), (5, "chain")]
