from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.events import Event, parse_event
from ledger.state import fold, in_order, live, same_bike, state_after, view_of
from ledger.view import BikeView, view_json
from tests.strategies import BEGAN_AT, BIKES, SHOP, WORDS, Life, Move, event_id, life_of, lives

BIKE = BIKES[0]


def day(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(hour=12, tzinfo=UTC)


def amount(value: str, unit: str, canonical: str | None = None) -> dict[str, str]:
    return {"value": value, "unit": unit, "canonical": canonical or value}


def book(*rows: tuple[str, str, dict[str, Any]], job: str | None = None) -> list[Event]:
    """Stored events of one bike in seq order: (day, kind, data)."""
    events = []
    for seq, (on, kind, data) in enumerate(rows, 1):
        raw = {"id": event_id(seq), "seq": seq, "shop": SHOP, "bike": BIKE, "actor": "mia"}
        if job is not None:
            raw["job"] = job
        version = 2 if kind == "distance_read" else 1
        raw |= {"kind": kind, "occurred_at": day(on), "schema_version": version, "data": data}
        events.append(parse_event(raw))
    return events


def view(events: list[Event], on: str = "2030-01-01", known: int = 10**6) -> BikeView:
    return fold(events, shop=SHOP, bike=BIKE, as_at=day(on), known_seq=known, vocabulary=WORDS)


def odometer(value: str, **more: Any) -> dict[str, Any]:
    return {"odometer": amount(value, "km"), **more}


def torque(at: str, value: str = "40") -> dict[str, Any]:
    return {"position": at, "quantity": "torque", "after": amount(value, "N·m")}


def wear(value: str, **more: Any) -> dict[str, Any]:
    return {"position": "chain", "quantity": "elongation", "value": amount(value, "%"), **more}


def fitted(at: str, part: str, **more: Any) -> dict[str, Any]:
    return {"position": at, "part": part, **more}


REGISTERED = ("2024-01-01", "bike_registered", {"speeds": 11})


@pytest.mark.parametrize(
    ("known_on", "true_on", "expected"),
    [
        ("01-25", "01-25", "6000"),
        ("02-25", "01-25", "6000"),
        ("03-25", "01-25", "6000"),
        ("02-25", "02-25", "6000"),
        ("03-25", "02-25", "6500"),
        ("03-25", "03-25", "6500"),
    ],
)
def test_a_figure_learnt_late_is_true_from_when_it_occurred(
    known_on: str, true_on: str, expected: str
) -> None:
    """Record date by actual date come out as in Fowler's table (Bitemporal History).

    Sally's pay is our odometer: 6000 known from January on, and on March 15 the book learns
    that it was 6500 from February 15 on.
    """
    events = book(
        ("2024-01-01", "distance_read", odometer("6000")),
        ("2024-02-15", "distance_read", odometer("6500")),
    )
    recorded = {1: day("2024-01-01"), 2: day("2024-03-15")}
    known = max(seq for seq, at in recorded.items() if at <= day(f"2024-{known_on}"))
    assert view(events, f"2024-{true_on}", known).distance_km == Decimal(expected)


@pytest.mark.parametrize(
    ("known_on", "true_on", "expected"),
    [
        ("1975-04-03", "1975-04-03", None),
        ("1975-04-04", "1975-04-03", "smallville"),
        ("1994-10-01", "1994-10-01", "smallville"),
        ("1994-12-27", "1994-10-01", "bigtown"),
        ("1994-12-27", "1994-08-25", "smallville"),
        ("1994-12-27", "1994-08-26", "bigtown"),
    ],
)
def test_what_was_believed_then_stays_asked_for(
    known_on: str, true_on: str, expected: str | None
) -> None:
    """Valid and recorded dates keep apart, as in the public address example (Wikipedia).

    A move to Bigtown in August, told in December: asked as known in October the answer is
    still Smallville. The address is our rider.
    """
    events = book(
        ("1975-04-03", "rider_changed", {"rider": "smallville"}),
        ("1994-08-26", "rider_changed", {"rider": "bigtown"}),
    )
    recorded = {1: day("1975-04-04"), 2: day("1994-12-27")}
    known = max((seq for seq, at in recorded.items() if at <= day(known_on)), default=0)
    assert view(events, true_on, known).rider == expected


def test_a_bike_nobody_knows_is_empty() -> None:
    """No events give a bike with nothing on it, and zero used."""
    empty = view([])
    assert (empty.events_used, empty.rider, empty.distance_km, empty.fitted) == (0, None, None, ())


def test_rider_keeper_and_riding_are_the_last_told() -> None:
    """The kind of riding is the last told by whichever event told one."""
    events = book(
        ("2024-01-01", "bike_registered", {"riding": "leisure"}),
        ("2024-02-01", "rider_changed", {"rider": "r1", "keeper": "k1", "riding": "commute"}),
        ("2024-03-01", "job_opened", {"riding": "courier"}),
        ("2024-04-01", "rider_changed", {"rider": "r2"}),
        job="j1",
    )
    assert [view(events, f"2024-0{month}-01").riding for month in (1, 2, 3, 4)] == [
        "leisure", "commute", "courier", "courier",
    ]  # fmt: skip
    assert (view(events).rider, view(events).keeper) == ("r2", "r2")


def test_distance_runs_on_over_replaced_computers() -> None:
    """What a new computer shows is added to the highest each earlier one showed."""
    events = book(
        REGISTERED,
        ("2024-02-01", "distance_read", odometer("1000")),
        ("2024-03-01", "distance_read", odometer("50", computer_replaced=True)),
        ("2024-04-01", "distance_read", odometer("700")),
        ("2024-05-01", "distance_read", odometer("0", computer_replaced=True)),
        ("2024-06-01", "distance_read", odometer("25")),
    )
    dates = ["2024-01-15", "2024-02-15", "2024-03-15", "2024-04-15", "2024-05-15", "2024-06-15"]
    km = [view(events, date).distance_km for date in dates]
    assert km == [None, *map(Decimal, (1000, 1050, 1700, 1700, 1725))]


def test_a_part_has_its_own_distance_and_days() -> None:
    """Distance since fitting counts from the last reading before it; days are whole."""
    events = book(
        REGISTERED,
        ("2024-02-01", "distance_read", odometer("1000")),
        ("2024-02-10", "part_fitted", fitted("chain", "c1", make="Harbour", model="H11")),
        ("2024-03-01", "distance_read", odometer("1600")),
    )
    (chain,) = view(events, "2024-03-11").fitted
    assert (chain.make, chain.model, chain.part) == ("Harbour", "H11", "c1")
    assert chain.distance_since_fitted_km == 600
    assert chain.days_since_fitted == 30
    assert view(events, "2024-02-09").fitted == ()


def test_a_found_part_has_no_fitted_date() -> None:
    """What was on the bike already is of unknown age, never of day zero."""
    events = book(
        REGISTERED,
        ("2024-02-01", "distance_read", odometer("1000")),
        ("2024-02-01", "part_fitted", fitted("chain", "c1", is_found=True)),
        ("2024-03-01", "distance_read", odometer("1600")),
    )
    (chain,) = view(events).fitted
    assert (chain.fitted_at, chain.distance_since_fitted_km, chain.days_since_fitted) == (
        None, None, None,
    )  # fmt: skip


def test_a_part_fitted_before_any_reading_has_no_distance() -> None:
    """Where no distance was known at the fitting none is made up."""
    events = book(
        REGISTERED,
        ("2024-02-01", "part_fitted", fitted("chain", "c1")),
        ("2024-03-01", "distance_read", odometer("1600")),
    )
    assert view(events).fitted[0].distance_since_fitted_km is None


def test_a_removed_part_is_gone_and_a_replaced_one_is_the_new_one() -> None:
    """At a position stands what was fitted last, unless it came off since."""
    events = book(
        REGISTERED,
        ("2024-02-01", "part_fitted", fitted("chain", "c1")),
        ("2024-03-01", "part_fitted", fitted("chain", "c2", replaces="c1")),
        ("2024-04-01", "part_removed", {"position": "chain", "part": "c2"}),
    )
    parts = [[part.part for part in view(events, f"2024-0{m}-15").fitted] for m in (2, 3, 4)]
    assert parts == [["c1"], ["c2"], []]


def test_readings_are_the_last_of_what_is_there_now() -> None:
    """A reading stands until it is taken again or what was measured is replaced."""
    events = book(
        REGISTERED,
        ("2024-02-01", "part_fitted", fitted("chain", "c1")),
        ("2024-03-01", "measured", wear("0.2", limit=amount("0.5", "%"), verdict="within limit")),
        ("2024-04-01", "measured", wear("0.5", limit=amount("0.5", "%"), verdict="due")),
        ("2024-04-01", "measured", wear("0.4", point="at the joint")),
        ("2024-05-01", "part_fitted", fitted("chain", "c2", replaces="c1")),
    )
    (march,) = view(events, "2024-03-15").readings
    assert (march.value, march.limit, march.verdict, march.unit) == (
        Decimal("0.2"), Decimal("0.5"), "within limit", "%",
    )  # fmt: skip
    april = view(events, "2024-04-15").readings
    assert [(reading.point, reading.value) for reading in april] == [
        (None, Decimal("0.5")), ("at the joint", Decimal("0.4")),
    ]  # fmt: skip
    assert view(events).readings == ()


def test_an_interval_reading_has_its_ends() -> None:
    """A go/no-go mark gives bounds, and no value between them is made up."""
    data = {"position": "chain", "quantity": "elongation", "low": amount("0.5", "%")}
    (reading,) = view(book(REGISTERED, ("2024-02-01", "measured", data))).readings
    assert (reading.value, reading.value_low, reading.value_high) == (None, Decimal("0.5"), None)


def test_a_fitting_voids_readings_below_its_position_and_a_find_does_not() -> None:
    """A new wheel has a new tyre on it; a wheel found there changes nothing measured."""
    tyre = {"position": "rear_wheel.tyre", "quantity": "tread_depth", "value": amount("3", "mm")}
    events = book(
        REGISTERED,
        ("2024-02-01", "measured", tyre),
        ("2024-03-01", "part_fitted", fitted("rear_wheel", "w1", is_found=True)),
        ("2024-04-01", "part_fitted", fitted("rear_wheel.rim", "x1")),
        ("2024-05-01", "part_removed", {"position": "rear_wheel", "part": "w1"}),
    )
    counts = [len(view(events, f"2024-0{month}-15").readings) for month in (2, 3, 4, 5)]
    assert counts == [1, 1, 1, 0]


@pytest.mark.parametrize(
    ("kind", "data", "is_voided"),
    [
        ("adjusted", torque("crank", "45"), False),
        ("adjusted", {"position": "crank"}, True),
        ("adjusted", {"position": "crank", "quantity": "gap", "after": amount("1", "mm")}, True),
        ("adjusted", {"position": "bottom_bracket"}, True),
        ("adjusted", torque("bottom_bracket"), True),
        ("part_fitted", fitted("bottom_bracket", "b1"), True),
        ("part_fitted", fitted("bottom_bracket", "b1", is_found=True), False),
        ("part_fitted", fitted("crank", "c1"), True),
        ("part_removed", {"position": "bottom_bracket"}, True),
        ("adjusted", {"position": "chain"}, False),
        ("adjusted", torque("stem"), False),
        ("treated", {"position": "crank", "treatment": "cleaned"}, False),
    ],
)
def test_torque_is_voided_by_work_there_or_under_it(
    kind: str, data: dict[str, Any], is_voided: bool
) -> None:
    """Work at a position, or at one it hides, voids its torque; torquing it again does not."""
    events = book(
        REGISTERED, ("2024-02-01", "adjusted", torque("crank")), ("2024-03-01", kind, data)
    )
    held = {setting.position for setting in view(events).settings if setting.quantity == "torque"}
    assert ("crank" not in held) is is_voided
    disturbed = state_after(live(events), SHOP, BIKE, WORDS).disturbed
    assert ("crank" in disturbed) is is_voided


def test_other_settings_are_voided_by_parts_alone() -> None:
    """A pressure stands through adjustments, and goes with what it was set on."""
    pressure = {"position": "fork", "quantity": "pressure", "after": amount("6", "bar")}
    events = book(
        REGISTERED,
        ("2024-02-01", "adjusted", pressure),
        ("2024-03-01", "adjusted", {"position": "fork"}),
        ("2024-04-01", "part_fitted", fitted("fork", "f1")),
    )
    assert [len(view(events, f"2024-0{month}-15").settings) for month in (2, 3, 4)] == [1, 1, 0]


def test_disturbed_positions_are_torqued_one_by_one() -> None:
    """Each torqued position that was disturbed is listed until it is torqued itself."""
    events = book(
        REGISTERED,
        ("2024-02-01", "part_fitted", fitted("rear_brake.rotor", "r1")),
        ("2024-03-01", "adjusted", torque("rear_brake.rotor", "6")),
        ("2024-04-01", "adjusted", torque("rear_wheel", "12")),
    )
    disturbed = [
        set(state_after(live(events, day(f"2024-0{month}-15")), SHOP, BIKE, WORDS).disturbed)
        for month in (1, 2, 3, 4)
    ]
    assert disturbed == [set(), {"rear_brake.rotor", "rear_wheel"}, {"rear_wheel"}, set()]


def test_a_fault_is_open_from_its_first_finding() -> None:
    """Found, searched, judged worse: one fault, its first date, its last verdict and cause."""
    look = {"position": "rear_brake", "fault": "squeal"}
    cured = {"puts_right": {"fault": "squeal", "position": "rear_brake"}}
    search = {"position": "rear_brake", "symptom": "squeal", "why_stopped": "cause found"}
    events = book(
        REGISTERED,
        ("2024-02-01", "inspected", {**look, "verdict": "watch"}),
        ("2024-03-01", "diagnosed", {**search, "cause": "glazed_pad"}),
        ("2024-04-01", "inspected", {**look, "verdict": "due"}),
        ("2024-04-02", "inspected", {**look, "verdict": "not checked", "why_not_checked": "wet"}),
        ("2024-05-01", "treated", {"position": "rear_brake.pads", "treatment": "sanded", **cured}),
        ("2024-06-01", "inspected", {**look, "verdict": "watch"}),
        ("2024-07-01", "inspected", {**look, "verdict": "within limit"}),
    )
    (april,) = view(events, "2024-04-15").faults_open
    assert (april.verdict, april.cause, april.found_at) == ("due", "glazed_pad", day("2024-02-01"))
    assert april.event == event_id(2)
    assert view(events, "2024-05-15").faults_open == ()
    (june,) = view(events, "2024-06-15").faults_open
    assert (june.found_at, june.cause) == (day("2024-06-01"), None)
    assert view(events).faults_open == ()


def test_advice_is_open_until_yes_or_no() -> None:
    """No reply and later leave advice open, with that answer."""
    advice = {"position": "chain", "verdict": "due", "urgency": "soon"}
    answered = {"advice": event_id(2), "how": "phone"}
    events = book(
        REGISTERED,
        ("2024-02-01", "advised", advice),
        ("2024-03-01", "advice_answered", {**answered, "answer": "no reply"}),
        ("2024-04-01", "advice_answered", {**answered, "answer": "yes"}),
    )
    answers = [
        [open_.answer for open_ in view(events, f"2024-0{month}-15").advice_open]
        for month in (2, 3, 4)
    ]
    assert answers == [[None], ["no reply"], []]


def test_a_job_is_open_and_says_what_it_waits_for() -> None:
    """From booking in to closing; waiting from a hold to the resumption."""
    events = book(
        REGISTERED,
        ("2024-02-01", "job_opened", {"tier": "quick_check"}),
        ("2024-03-01", "job_held", {"waiting_for": "part"}),
        ("2024-04-01", "job_resumed", {}),
        ("2024-05-01", "job_closed", {}),
        job="j1",
    )
    waits = [
        [(job.job, job.tier, job.waiting_for) for job in view(events, f"2024-0{m}-15").jobs_open]
        for m in (1, 2, 3, 4, 5)
    ]
    quick = ("j1", "quick_check")
    assert waits == [[], [(*quick, None)], [(*quick, "part")], [(*quick, None)], []]


def test_a_struck_event_is_gone_as_known_after_and_there_as_known_before() -> None:
    """A strike works on knowledge, whatever date it carries itself."""
    events = book(
        REGISTERED,
        ("2024-02-01", "part_fitted", fitted("chain", "c1")),
        ("2024-09-01", "event_struck", {"target": event_id(2), "reason": "wrong bike"}),
    )
    assert len(view(events, "2024-03-01", known=2).fitted) == 1
    assert view(events, "2024-03-01", known=3).fitted == ()
    assert view(events, "2024-03-01", known=3).events_used == 1


def test_ties_in_time_go_by_seq() -> None:
    """Of two events of one instant the later recorded comes later."""
    events = book(
        ("2024-01-01", "rider_changed", {"rider": "r1"}),
        ("2024-01-01", "rider_changed", {"rider": "r2"}),
    )
    assert view(list(reversed(events))).rider == "r2"


def test_linked_tags_are_one_bike_as_known_after_the_link() -> None:
    """Links join tags through any number of hands, until they are struck."""
    tags = ["AAAAAAAA", "BBBBBBBB", "CCCCCCCC", "DDDDDDDD"]
    raw = {"shop": SHOP, "actor": "mia", "occurred_at": BEGAN_AT}
    links = [
        parse_event({**raw, "id": event_id(seq), "seq": seq, "kind": "bike_linked",
                     "data": {"first": {"bike": one}, "second": {"bike": two}}})
        for seq, (one, two) in enumerate(pairwise(tags), 1)
    ]  # fmt: skip
    strike = {"kind": "event_struck", "data": {"target": event_id(3), "reason": "no"}}
    links.append(parse_event({**raw, **strike, "id": event_id(4), "seq": 4}))

    def joined(known: int) -> set[str]:
        return {tag for _, tag in same_bike(links, SHOP, "AAAAAAAA", known)}

    assert [len(joined(known)) for known in (0, 1, 2, 3, 4)] == [1, 2, 3, 4, 3]
    assert ("harbour", "AAAAAAAA") not in same_bike(links, SHOP, "AAAAAAAA")


def test_a_view_is_plain_json() -> None:
    """Decimals, instants and rows become numbers, text and lists."""
    plain = view_json(view(book(REGISTERED, ("2024-02-01", "measured", wear("0.25")))))
    assert plain["readings"][0]["value"] == 0.25
    assert plain["as_at"] == "2030-01-01T12:00:00.000000Z"


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
