from __future__ import annotations

import random
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.events import Event, parse_event
from ledger.state import fold, in_order, live, state_after, view_of
from ledger.view import BikeView, view_json
from tests.strategies import BIKES, SHOP, WORDS, Life, Move, event_id, life_of, lives

BIKE = BIKES[0]


# -- what holds for every life ------------------------------------------------------------


def fold_at(events: list[Event], at: datetime, known: int) -> BikeView:
    return fold(events, shop=SHOP, bike=BIKE, as_at=at, known_seq=known, vocabulary=WORDS)


@settings(max_examples=25, deadline=None)
@given(life=lives(), seed=st.integers(0, 999))
def test_the_order_events_are_given_in_does_not_matter(life: Life, seed: int) -> None:
    """Events shuffled fold to the same bike at every instant."""
    events = life.of(BIKE)
    shuffled = events.copy()
    random.Random(seed).shuffle(shuffled)
    for at in life.instants():
        known = len(life.events)
        assert fold_at(events, at, known) == fold_at(shuffled, at, known)


@settings(max_examples=25, deadline=None)
@given(life=lives())
def test_as_known_is_the_fold_of_the_prefix(life: Life) -> None:
    """What the book knew at a seq is what a book that ended there says."""
    events, last = life.of(BIKE), life.instants()[-1]
    for known in range(len(life.events) + 1):
        prefix = [event for event in events if event.seq is not None and event.seq <= known]
        assert live(events, last, known) == live(prefix, last)
        assert fold_at(events, last, known) == fold_at(prefix, last, known)


@settings(max_examples=25, deadline=None)
@given(life=lives())
def test_the_fold_goes_one_event_at_a_time(life: Life) -> None:
    """The state after a prefix of the timeline is the bike as at that prefix's last instant."""
    counted = live(life.of(BIKE))
    known = len(life.events)
    for end in range(1, len(counted) + 1):
        at = counted[end - 1].occurred_at
        if end < len(counted) and counted[end].occurred_at == at:
            continue
        state = state_after(counted[:end], SHOP, BIKE, WORDS)
        assert view_of(state, at, known) == fold_at(life.of(BIKE), at, known)
        assert state.events_used == end


def without_ids(view: BikeView) -> Any:
    """A view as plain JSON but for event ids, made-up part ids, and the count of events."""
    hidden = {"event", "events_used", "as_known"}

    def strip(value: Any) -> Any:
        if isinstance(value, dict):
            return {name: strip(inner) for name, inner in value.items() if name not in hidden}
        if isinstance(value, list):
            stripped = [strip(item) for item in value]
            return sorted(stripped, key=repr)
        return value

    return strip(view_json(view))


@settings(max_examples=25, deadline=None)
@given(life=lives(20), pick=st.integers(0, 99))
def test_striking_and_recording_again_gives_the_same_bike(life: Life, pick: int) -> None:
    """A mistaken strike mended by a restore leaves no trace in what the bike is."""
    counted = live(life.of(BIKE))
    at_times: dict[datetime, int] = {}
    for event in counted:
        at_times[event.occurred_at] = at_times.get(event.occurred_at, 0) + 1
    alone = [event for event in counted if at_times[event.occurred_at] == 1]
    alone = [event for event in alone if event.kind != "advised"]
    if not alone:
        return
    target, size = alone[pick % len(alone)], len(life.events)
    raw = {"shop": SHOP, "bike": BIKE, "actor": "mia", "occurred_at": target.occurred_at}
    struck = {"kind": "event_struck", "data": {"target": target.id, "reason": "a mistake"}}
    strike = parse_event({**raw, **struck, "id": event_id(10**6), "seq": size + 1})
    again = {"id": event_id(10**6 + 1), "seq": size + 2, "restores": target.id}
    events = [*life.of(BIKE), strike, target.model_copy(update=again)]
    for at in life.instants():
        before, after = fold_at(events, at, size), fold_at(events, at, size + 2)
        assert without_ids(before) == without_ids(after)
        assert before.events_used == after.events_used


def test_lives_hold_what_they_promise() -> None:
    """The generator reaches late entries, ties, strikes, restores, swaps and new computers."""
    numbers = random.Random(7)
    kinds = [
        "part_fitted", "distance_read", "measured", "event_struck", "restored", "swapped",
        "adjusted", "job_opened", "job_closed", "inspected",
    ]  # fmt: skip
    moves = [
        Move(numbers.choice(kinds), numbers.choice([0, 0, 1]), numbers.randrange(400),
             numbers.randrange(60), numbers.choice([0, 5, 30]), numbers.choice([0, 0, 1, 3]))
        for _ in range(300)
    ]  # fmt: skip
    life = life_of(moves)
    kinds_seen = {event.kind for event in life.events}
    assert {"event_struck", "part_removed", "job_closed", "distance_read"} <= kinds_seen
    times = [event.occurred_at for event in life.events]
    assert any(later < earlier for earlier, later in pairwise(times))
    assert len(set(times)) < len(times)
    assert any(event.restores for event in life.events)
    assert any(e.kind == "distance_read" and e.data.computer_replaced for e in life.events)
    parts = [{e.data.part for e in life.of(bike) if e.kind == "part_fitted"} for bike in BIKES]
    assert parts[0] & parts[1]
    assert [event.seq for event in life.events] == list(range(1, len(life.events) + 1))
    assert in_order(life.events) != list(life.events)
    assert timedelta(0) < times[-1] - times[0]
