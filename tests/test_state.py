from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from ledger.state import live, state_after
from ledger.view import view_json
from tests.stored import BIKE, REGISTERED, amount, book, day, fitted, odometer, torque, view, wear
from tests.strategies import SHOP, WORDS, event_id


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


def test_a_verdict_past_a_limit_stands_without_a_fault_until_looked_at_again() -> None:
    """The last nameless look counts; not checked, a fault and an adjustment settle nothing."""
    look = {"position": "front_brake.pads"}
    within = {"position": "front_brake", "covers": ["front_brake.pads"], "verdict": "within limit"}
    events = book(
        REGISTERED,
        ("2024-02-01", "inspected", {**look, "verdict": "unsafe"}),
        ("2024-02-02", "inspected", {**look, "verdict": "not checked", "why_not_checked": "wet"}),
        ("2024-02-03", "inspected", {**look, "fault": "squeal", "verdict": "within limit"}),
        ("2024-02-04", "adjusted", look),
        ("2024-02-05", "inspected", within),
        ("2024-03-01", "inspected", {**look, "verdict": "due"}),
        ("2024-04-01", "inspected", {**look, "verdict": "watch"}),
        ("2024-05-01", "inspected", {**look, "verdict": "unsafe"}),
        ("2024-06-01", "part_fitted", look),
        ("2024-07-01", "inspected", {**look, "verdict": "unsafe"}),
        ("2024-08-01", "part_fitted", {**look, "is_found": True}),
    )
    (february,) = view(events, "2024-02-15").findings_open
    assert (february.verdict, february.found_at) == ("unsafe", day("2024-02-01"))
    assert february.event == event_id(2)
    assert [one.verdict for one in view(events, "2024-03-15").findings_open] == ["due"]
    assert view(events, "2024-04-15").findings_open == ()
    assert [one.verdict for one in view(events, "2024-05-15").findings_open] == ["unsafe"]
    assert view(events, "2024-06-15").findings_open == ()
    assert [one.found_at for one in view(events).findings_open] == [day("2024-07-01")]
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


def test_a_view_is_plain_json() -> None:
    """Decimals, instants and rows become numbers, text and lists."""
    plain = view_json(view(book(REGISTERED, ("2024-02-01", "measured", wear("0.25")))))
    assert plain["readings"][0]["value"] == 0.25
    assert plain["as_at"] == "2030-01-01T12:00:00.000000Z"
