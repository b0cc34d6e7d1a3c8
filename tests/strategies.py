"""Whole bike lives that the rules accept, for property tests of everything that reads them.

`lives()` gives events as they would be stored: gapless `seq`, `recorded_at` that never falls,
completed figures; with events entered late, ties in time, strikes, restores, replaced computers
and parts that move between two bikes. Each move is a few small numbers, so that a failing life
shrinks to a short one.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from ledger.events import Event, parse_event
from ledger.events.shop import GaugeRegistered, TermsSet
from ledger.prepare import prepare
from ledger.rules import BookFacts, check_timeline
from ledger.state import BikeState, live, state_after
from ledger.vocabulary import standard
from tests.bike_moves import (
    CAUSES,
    FAULTS,
    IN_A_JOB,
    MAKERS,
    POSITIONS,
    TEXT,
    Move,
    judged_job,
    open_job,
)

SHOP = "quayside"
BIKES = ("7K3M9QXA", "2B4D6F8H")
MECHANICS = ("mia", "tom")
BEGAN_AT = datetime(2024, 1, 1, 8, 0, tzinfo=UTC)
WORDS = standard().extended(
    TermsSet.model_validate(
        {
            "from_on": "2024-01-01",
            "tiers": [
                {"code": "quick_check", "label": "quick check"},
                {"code": "full_service", "label": "full service"},
            ],
        }
    )
)
GAUGES = {
    "caliper": GaugeRegistered(
        gauge="caliper", label="caliper", quantities=("elongation", "thickness")
    )
}


def event_id(number: int) -> str:
    """Give the UUIDv7 of the numbered event: times rise with numbers."""
    stamp = int(BEGAN_AT.timestamp() * 1000) + number
    return str(UUID(int=(stamp << 80) | (0x7 << 76) | (0b10 << 62) | number))


@dataclass(frozen=True)
class Life:
    """What a book holds of a bike or two, in seq order."""

    events: tuple[Event, ...]

    def of(self, bike: str) -> list[Event]:
        """Give every stored event of a bike, strikes included."""
        return [event for event in self.events if event.bike == bike]

    def instants(self) -> list[datetime]:
        """Give every instant at which something can change, and one before all of them."""
        times = {event.occurred_at for event in self.events}
        return [BEGAN_AT - timedelta(days=1), *sorted(times), max(times) + timedelta(days=400)]


@dataclass
class _Diary:
    """A book in the making: proposes events, keeps those the rules accept."""

    events: list[Event] = field(default_factory=list)
    now: datetime = BEGAN_AT
    refused: int = 0

    def of(self, bike: str) -> list[Event]:
        return [event for event in self.events if event.bike == bike]

    def state(self, bike: str, at: datetime) -> BikeState:
        """Give the bike as a new event at that instant would find it."""
        return state_after(live(self.of(bike), at), SHOP, bike, WORDS)

    def facts(self, draft: Event) -> BookFacts:
        moves: dict[str, list[Event]] = defaultdict(list)
        clocks: dict[str, list[Event]] = defaultdict(list)
        for event in live([*self.events, draft]):
            if event.kind == "part_fitted":
                moves[event.data.part or ""].append(event)
                moves[event.data.replaces or ""].append(event)
            elif event.kind == "part_removed":
                moves[event.data.part or ""].append(event)
            elif event.kind in ("labour_started", "labour_stopped"):
                clocks[event.actor].append(event)
        return BookFacts(
            vocabulary=WORDS,
            now=self.now,
            time_zone=ZoneInfo("Europe/Amsterdam"),
            currency="EUR",
            mechanics=frozenset(MECHANICS),
            gauges=GAUGES,
            part_events=moves,
            labour_events=clocks,
            job_bikes={e.job: e.bike for e in self.events if e.kind == "job_opened"},
            targets={event.id: event for event in self.events},
            struck={e.data.target for e in self.events if e.kind == "event_struck"},
        )

    def record(self, raw: dict[str, Any]) -> bool:
        """Record one event if nothing refuses it, and say whether it was."""
        at = raw["occurred_at"]
        self.now = max(self.now, at)
        draft = parse_event(
            {
                "id": event_id(len(self.events) + 1000 * self.refused),
                "seq": len(self.events) + 1,
                "shop": SHOP,
                "recorded_at": self.now,
                **raw,
            }
        )
        assert draft.bike is not None
        draft, problems = prepare(draft, self.state(draft.bike, at), self.facts(draft))
        timeline = [*self.of(draft.bike), draft]
        problems += check_timeline(timeline, {draft.id}, self.facts(draft))
        if any(problem.severity == "refused" for problem in problems):
            self.refused += 1
            return False
        self.events.append(draft)
        return True


def _happens_at(diary: _Diary, move: Move) -> datetime:
    if move.back and diary.events:
        return diary.events[-(move.back % len(diary.events))].occurred_at
    return diary.now + timedelta(hours=move.hours)


def _strike(diary: _Diary, move: Move) -> None:
    bike = BIKES[move.bike]
    stored = [event for event in diary.of(bike) if event.kind != "event_struck"]
    target = stored[-1 - move.pick % len(stored)]
    data = {"target": target.id, "reason": TEXT}
    raw = {"kind": "event_struck", "bike": bike, "actor": MECHANICS[0], "data": data}
    diary.record({**raw, "occurred_at": _happens_at(diary, move)})


def _restore(diary: _Diary, move: Move) -> None:
    """Record a struck event again, as it was."""
    by_id = {event.id: event for event in diary.of(BIKES[move.bike])}
    struck = [e.data.target for e in by_id.values() if e.kind == "event_struck"]
    again = {event.restores for event in by_id.values()}
    lost = [target for target in struck if target not in again]
    if lost:
        raw = by_id[lost[move.pick % len(lost)]].model_dump(
            mode="json", exclude_none=True, exclude={"id", "seq", "recorded_at"}
        )
        at = datetime.fromisoformat(raw["occurred_at"])
        diary.record({**raw, "occurred_at": at, "restores": lost[move.pick % len(lost)]})


def _swap(diary: _Diary, move: Move) -> None:
    """Take a part off one bike and fit it on the other, now."""
    giver, taker = BIKES[move.bike], BIKES[1 - move.bike]
    at = diary.now + timedelta(hours=move.hours)
    fitted, there = diary.state(giver, at).fitted, diary.state(taker, at).fitted
    free = sorted(set(fitted) - set(there))
    if not free:
        return
    position = free[move.pick % len(free)]
    raw = {"actor": MECHANICS[0], "occurred_at": at}
    moved = {"position": position, "part": fitted[position].part}
    if diary.record({"kind": "part_removed", "bike": giver, "data": moved, **raw}):
        diary.record({"kind": "part_fitted", "bike": taker, "data": moved, **raw})


def _visit(diary: _Diary, move: Move) -> None:
    """Bring a bike in for one fault, which is found, and put right, found gone, or left."""
    bike, job = BIKES[move.bike], f"v{move.bike}-{len(diary.events)}"
    at = _happens_at(diary, move)
    before = [name for name in diary.state(bike, at).jobs if name != job]
    place = {"position": POSITIONS[move.pick % 9]}
    fault, cause = FAULTS[move.pick % 3], CAUSES[move.other // 5 % 4]
    told = {} if cause is None else {"cause": cause}
    back = {"come_back_of": before[-1]} if before and move.other % 3 == 1 else {}
    look = {**place, "fault": fault, **told}
    right = {"puts_right": {"fault": fault, **(told if move.other % 2 else {})}}
    answer = {"is_come_back": True, "answers": before[-1]} if before else {"is_come_back": False}
    treated = ("treated", {**place, "treatment": "cleaned", **right})
    adjusted = ("adjusted", {**place, **right})
    gone = ("inspected", {**look, "verdict": "within limit"})
    work = ([treated], [adjusted], [gone], [treated, adjusted], [], [gone, treated])
    first = ("inspected", {**look, "verdict": "due"}) if move.pick // 9 % 4 else gone
    done = [("job_opened", back), first, *work[move.other % 6]]
    done += [("job_closed", {})] if move.pick % 3 else []
    done += [("come_back_judged", answer)] if move.other % 5 in (1, 3) else []
    raw = {"bike": bike, "actor": MECHANICS[move.pick % 2], "job": job, "occurred_at": at}
    for kind, data in done:
        diary.record({**raw, "kind": kind, "data": data})


_OTHERS = {"event_struck": _strike, "restored": _restore, "swapped": _swap, "visited": _visit}


def _told(diary: _Diary, kind: str, move: Move) -> tuple[str, BikeState, dict[str, Any]]:
    """Give the kind that can happen now: what needs a job, quote or advice gets one first."""
    state = diary.state(BIKES[move.bike], _happens_at(diary, move))
    is_open = any(not job.is_closed for job in state.jobs.values())
    if kind in IN_A_JOB and not is_open:
        kind = "job_opened"
    instead = {
        "quote_answered": ("quote_given", not state.quotes),
        "advice_answered": ("advised", not state.advice),
        "job_resumed": ("job_held", not any(job.waiting_for for job in state.jobs.values())),
        "labour_stopped": ("labour_started", not state.running),
        "come_back_judged": ("job_opened", judged_job(state, move) is None),
        "part_removed": ("part_fitted", not state.fitted),
    }
    if kind in instead and instead[kind][1]:
        kind = instead[kind][0]
    return kind, state, MAKERS[kind](state, move)


def _who_and_where(kind: str, state: BikeState, move: Move) -> dict[str, Any]:
    actor, job = MECHANICS[move.pick % 2], f"j{move.bike}-{move.pick}"
    if kind == "labour_stopped" and state.running:
        actor = sorted(state.running)[move.pick % len(state.running)]
        return {"actor": actor, "job": state.running[actor].job}
    if kind == "job_opened":
        return {"actor": actor, "job": job}
    if kind == "come_back_judged":
        return {"actor": actor, "job": judged_job(state, move)}
    if kind == "quote_answered":
        name = sorted(state.quotes)[move.pick % len(state.quotes)]
        return {"actor": actor, "job": state.quotes[name].job}
    named = open_job(state, move, is_needed=kind in IN_A_JOB)
    return {"actor": actor, **({"job": named} if named else {})}


def _happen(diary: _Diary, move: Move) -> None:
    if move.kind in _OTHERS:
        _OTHERS[move.kind](diary, move)
        return
    kind, state, data = _told(diary, move.kind, move)
    raw = {"kind": kind, "bike": BIKES[move.bike], **_who_and_where(kind, state, move)}
    diary.record({**raw, "occurred_at": _happens_at(diary, move), "data": data})


def life_of(moves: Sequence[Move]) -> Life:
    """Give the life that moves make: two registered bikes, then every move the rules accept."""
    diary = _Diary()
    for index, bike in enumerate(BIKES):
        data = {"speeds": (11, 9)[index], "riding": "leisure"}
        raw = {"kind": "bike_registered", "bike": bike, "actor": "mia", "data": data}
        assert diary.record({**raw, "occurred_at": BEGAN_AT})
    for move in moves:
        _happen(diary, move)
    return Life(tuple(diary.events))


ALL_MOVES = (*MAKERS, *_OTHERS)
_OFTEN = [
    "part_fitted",
    "part_removed",
    "measured",
    "adjusted",
    "distance_read",
    "job_opened",
    "inspected",
    "event_struck",
    "part_fitted",
    "measured",
    "adjusted",
    "event_struck",
    "restored",
    "swapped",
    "treated",
]


_OF_FAULTS = (
    *("visited", "visited", "visited", "inspected", "diagnosed", "treated", "adjusted"),
    *("part_fitted", "part_removed", "distance_read", "job_opened", "job_closed"),
    *("come_back_judged", "event_struck", "restored"),
)
_PLACES = tuple(9 * lap + place for lap in range(20) for place in (1, 4))
"""Picks that all name one of two positions, of one fault."""
_CHECKED = tuple(other for other in range(60) if other % 5 != 4)


def fault_lives(most_events: int = 40) -> st.SearchStrategy[Life]:
    """Give lives of two bikes with few positions and faults, found, put right and found again.

    Long gaps lie between some of the events, so that windows run out.
    """
    move = st.builds(
        Move,
        kind=st.sampled_from((*_OF_FAULTS * 3, *ALL_MOVES)),
        bike=st.sampled_from((0, 0, 0, 1)),
        pick=st.sampled_from(_PLACES),
        other=st.sampled_from(_CHECKED),
        hours=st.sampled_from((0, 1, 1, 5, 200, 1000, 3000)),
        back=st.sampled_from((0, 0, 0, 0, 0, 0, 1, 2, 5)),
    )
    return st.lists(move, min_size=most_events * 3 // 4, max_size=most_events).map(life_of)


def lives(most_events: int = 40) -> st.SearchStrategy[Life]:
    """Give lives of two bikes that the rules accept, of at most about that many events."""
    move = st.builds(
        Move,
        kind=st.sampled_from((*ALL_MOVES, *_OFTEN)),
        bike=st.sampled_from((0, 0, 0, 1)),
        pick=st.integers(0, 400),
        other=st.integers(0, 59),
        hours=st.sampled_from((0, 1, 5, 30, 500)),
        back=st.sampled_from((0, 0, 0, 0, 1, 2, 3, 5, 8)),
    )
    return st.lists(move, min_size=most_events // 2, max_size=most_events).map(life_of)
