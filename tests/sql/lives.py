"""Whole bike lives for property tests: any order, any mess, as the relations may meet it.

They are wilder than the rules allow (parts over parts, falling distances): a fold has to give
one answer for every sequence of events, so that two folds can be held equal on all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID

from hypothesis import strategies as st

from ledger.events import Event, parse_event

SHOP = "quayside"
BIKES = ("AAAAAAA1", "AAAAAAA2", "BBBBBBB3")
POSITIONS = (
    "chain",
    "crank",
    "bottom_bracket",
    "front_wheel",
    "front_wheel.tyre",
    "front_brake.rotor",
    "rear_wheel",
)
FAULTS = ("squeal", "loose")
START = datetime(2025, 3, 1, 8, tzinfo=UTC)
UNITS = {"torque": "N·m", "pressure": "bar", "thickness": "mm"}

positions = st.shared(
    st.sampled_from(
        [
            POSITIONS,
            ("chain",),
            ("crank", "bottom_bracket"),
            ("crank", "bottom_bracket"),
            POSITIONS[3:5],
        ]
    ),
    key="positions",
).flatmap(st.sampled_from)
"""Of all positions, or of few, so that much happens at one."""
faults = st.sampled_from(FAULTS)
causes = st.sampled_from([None, "glazed", "bent"])
quantities = st.sampled_from(["torque", "torque", "torque", "thickness", "pressure"])
points = st.sampled_from([None, None, "drive side", "17T"])
jobs = st.sampled_from(["J1", "J2"])
riders = st.sampled_from([None, "r1", "r2"])
ridings = st.sampled_from([None, "commuting", "touring"])
verdicts = st.sampled_from(["within limit", "watch", "due", "unsafe"])
minutes_kinds = st.sampled_from(["quoted", "found later", "come-back", "goodwill"])
parts = st.sampled_from(["p1", "p2", "p3", "p4"])
numbers = st.integers(0, 40)


def event_id(number: int) -> str:
    """Give a UUID of version 7 that stands for a number."""
    return str(UUID(int=(0x7 << 76) | (0x8 << 60) | number))


def amount(number: int, unit: str) -> dict[str, str]:
    """Give a figure in its canonical unit, with its canonical value filled in."""
    return {"value": str(number), "unit": unit, "canonical": f"{number}.500"}


def without_nones(data: dict[str, Any]) -> dict[str, Any]:
    """Give a payload with absent fields left out."""
    return {name: value for name, value in data.items() if value is not None}


@st.composite
def _figures(draw: st.DrawFn) -> dict[str, Any]:
    quantity = draw(quantities)
    return {
        "position": draw(positions),
        "quantity": quantity,
        "point": draw(points),
        "figure": amount(draw(numbers), UNITS[quantity]),
    }


@st.composite
def _measured(draw: st.DrawFn) -> dict[str, Any]:
    data = draw(_figures())
    figure = data.pop("figure")
    if draw(st.booleans()):
        return {**data, "value": figure, "verdict": draw(verdicts), "limit": figure}
    return {**data, "low": figure}


@st.composite
def _adjusted(draw: st.DrawFn) -> dict[str, Any]:
    data = draw(_figures())
    figure = data.pop("figure")
    if draw(st.integers(0, 3)) == 0:
        return {"position": data["position"], "puts_right": draw(_puts_right())}
    return {**data, "after": figure, "puts_right": draw(_puts_right())}


@st.composite
def _puts_right(draw: st.DrawFn) -> dict[str, Any] | None:
    if draw(st.booleans()):
        return None
    cured = {"fault": draw(faults), "position": draw(st.none() | positions)}
    return without_nones({**cured, "cause": draw(causes)})


@st.composite
def _judged(draw: st.DrawFn) -> dict[str, Any]:
    answers = draw(st.none() | jobs)
    return without_nones({"is_come_back": answers is not None, "answers": answers})


def _with(**fields: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.fixed_dictionaries(fields)


PAYLOADS: dict[str, st.SearchStrategy[dict[str, Any]]] = {
    "bike_registered": _with(make=st.sampled_from([None, "Tidemark"]), riding=ridings),
    "rider_changed": riders.flatmap(
        lambda rider: _with(rider=st.just(rider), keeper=riders, riding=ridings)
    ),
    "distance_read": _with(
        odometer=numbers.map(lambda number: amount(number, "km")),
        computer_replaced=st.sampled_from([False, False, False, True]),
    ),
    "job_opened": _with(
        tier=st.sampled_from([None, "overhaul"]), riding=ridings, come_back_of=st.none() | jobs
    ),
    "job_held": _with(waiting_for=st.sampled_from(["answer", "part"])),
    "job_resumed": _with(),
    "job_closed": _with(),
    "come_back_judged": _judged(),
    "labour_started": _with(task=st.just("gears"), minutes_kind=minutes_kinds),
    "labour_stopped": _with(minutes=numbers),
    "labour_logged": _with(task=st.just("gears"), minutes=numbers, minutes_kind=minutes_kinds),
    "goodwill_given": _with(minutes=st.none() | numbers),
    "inspected": _with(
        position=positions, verdict=verdicts, fault=st.none() | faults, cause=causes
    ),
    "diagnosed": _with(
        position=positions, symptom=faults, cause=causes, why_stopped=st.just("other")
    ),
    "measured": _measured(),
    "part_fitted": _with(
        position=positions,
        part=parts,
        model=st.sampled_from([None, "Keel 9"]),
        is_found=st.sampled_from([False, False, True]),
        puts_right=_puts_right(),
    ),
    "part_removed": _with(position=positions, part=parts, puts_right=_puts_right()),
    "adjusted": _adjusted(),
    "treated": _with(
        position=positions,
        treatment=st.just("cleaned"),
        is_preventive=st.booleans(),
        puts_right=_puts_right(),
    ),
    "advised": _with(
        position=positions,
        verdict=verdicts,
        urgency=st.just("soon"),
        price_minor=st.sampled_from([None, 4500]),
    ),
}
"""What may happen to a bike, beside answers to advice and strikes."""

THEMES: tuple[tuple[str, ...], ...] = (
    tuple(sorted(PAYLOADS)),
    ("distance_read", "distance_read", "part_fitted", "part_removed"),
    ("measured", "part_fitted", "part_removed"),
    ("adjusted", "adjusted", "adjusted", "part_fitted", "part_removed"),
    ("adjusted",),
    ("inspected", "inspected", "diagnosed", "treated", "part_fitted", "adjusted"),
    ("advised", "job_opened", "job_held", "job_resumed", "job_closed"),
    ("bike_registered", "rider_changed", "job_opened"),
    ("job_opened", "job_closed", "come_back_judged"),
    ("labour_started", "labour_stopped", "labour_logged", "goodwill_given", "job_opened"),
)
"""Everything, or only what works on one another, so that much of it meets."""


@st.composite
def _happening(
    draw: st.DrawFn, seq: int, before: Sequence[dict[str, Any]], theme: Sequence[str]
) -> dict[str, Any]:
    """Give one event as plain JSON types; it may answer advice or strike what came before."""
    advised = [raw["id"] for raw in before if raw["kind"] == "advised"]
    strikable = [raw for raw in before if raw["kind"] != "event_struck"]
    choice = draw(st.integers(0, 9))
    bike = draw(st.sampled_from((*BIKES, BIKES[0], BIKES[0], BIKES[0])))
    if choice == 0 and strikable:
        struck = draw(st.sampled_from(strikable))
        kind, data, bike = (
            "event_struck",
            {"target": struck["id"], "reason": "typo"},
            struck["bike"],
        )
    elif choice in (1, 2, 3) and advised:
        answer = draw(st.sampled_from(["yes", "no", "later", "no reply"]))
        advice = draw(st.sampled_from(advised))
        kind, data = "advice_answered", {"advice": advice, "answer": answer, "how": "phone"}
    else:
        kind = draw(st.sampled_from(theme))
        data = draw(PAYLOADS[kind])
    return {
        "id": event_id(seq),
        "seq": seq,
        "kind": kind,
        "shop": SHOP,
        "bike": bike,
        "job": draw(jobs),
        "actor": "m1",
        "occurred_at": START + timedelta(hours=7 * draw(st.integers(0, 12))),
        "recorded_at": START + timedelta(days=30, minutes=seq),
        "data": without_nones(data) if kind != "rider_changed" else data,
    }


@st.composite
def lives(draw: st.DrawFn, *, at_least: int = 1, at_most: int = 12) -> list[Event]:
    """Give the events of a few bikes in seq order: 1, 2, 3 ...; often backdated or tied."""
    raws: list[dict[str, Any]] = []
    theme = draw(st.sampled_from(THEMES))
    for seq in range(1, draw(st.integers(at_least, at_most)) + 1):
        raws.append(draw(_happening(seq, raws, theme)))
    return [parse_event(raw) for raw in raws]


def literal(*rows: tuple[Any, ...], bike: str | None = BIKES[0]) -> list[Event]:
    """Give events written out in a test: (hour, kind, payload) with seq 1, 2, 3 ..."""
    return [
        parse_event(
            {
                "id": event_id(seq),
                "seq": seq,
                "kind": kind,
                "shop": SHOP,
                "bike": bike,
                "job": "J1",
                "actor": "m1",
                "occurred_at": START + timedelta(hours=hour),
                "recorded_at": START + timedelta(days=30, minutes=seq),
                "data": data,
            }
        )
        for seq, (hour, kind, data) in enumerate(rows, 1)
    ]


def bikes_of(events: Iterable[Event], keep: Callable[[str], bool] = bool) -> list[str]:
    """Give the tags that events name, sorted."""
    return sorted({event.bike for event in events if event.bike and keep(event.bike)})
