"""Each relation, with literal events in and explicit rows out."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from lives import BIKES, START, event_id, literal
from shelf import rows_of

from ledger.engines.duckdb import Asked
from ledger.engines.views import event_id as id_text
from ledger.events import Event


def at(hour: int) -> datetime:
    """Give the instant that many hours after the first."""
    return START + timedelta(hours=hour)


def picked(
    relation: str, events: Sequence[Event], *columns: str, asked: Asked | None = None
) -> list[tuple[Any, ...]]:
    """Give some columns of a relation, sorted as text so that nulls have a place."""
    rows = rows_of(relation, events, asked) if asked else rows_of(relation, events)
    plain = [
        tuple(id_text(row[name]) if name == "id" else row[name] for name in columns) for row in rows
    ]
    return sorted(plain, key=str)


def km(figure: int | str) -> dict[str, str]:
    """Give a distance as an amount."""
    return {"value": str(figure), "unit": "km", "canonical": str(figure)}


def mm(figure: str) -> dict[str, str]:
    """Give a length as an amount."""
    return {"value": figure, "unit": "mm", "canonical": figure}


def torque(position: str, figure: str = "5.000", **more: Any) -> tuple[str, dict[str, Any]]:
    """Give a torque set at a position."""
    after = {"value": figure, "unit": "N·m", "canonical": figure}
    return "adjusted", {"position": position, "quantity": "torque", "after": after, **more}


def fitted(position: str, part: str, **more: Any) -> tuple[str, dict[str, Any]]:
    """Give a part fitted at a position."""
    return "part_fitted", {"position": position, "part": part, **more}


def removed(position: str, part: str, **more: Any) -> tuple[str, dict[str, Any]]:
    """Give a part removed from a position."""
    return "part_removed", {"position": position, "part": part, **more}


def test_a_struck_event_is_live_until_the_strike_is_known() -> None:
    """A strike works on knowledge: by its seq, although it occurred before what it strikes."""
    events = literal(
        (5, "noted", {"position": "chain", "text": "dry"}),
        (1, "event_struck", {"target": event_id(1), "reason": "wrong bike"}),
        (6, "noted", {"position": "chain", "text": "wet"}),
    )
    assert picked("live_events", events, "seq", asked=Asked(at(9), 1)) == [(1,)]
    assert picked("live_events", events, "seq", asked=Asked(at(9), 2)) == []
    assert picked("live_events", events, "seq", asked=Asked(at(9), 3)) == [(3,)]
    assert picked("live_events", events, "seq", asked=Asked(at(5), 3)) == []


def test_events_of_the_book_are_not_of_a_bike() -> None:
    """Terms, mechanics, gauges and links are no bike's events."""
    events = literal((0, "mechanic_registered", {"mechanic": "m1"}), bike=None)
    assert picked("live_events", events, "seq") == []


def test_each_replaced_computer_adds_the_highest_of_the_one_before() -> None:
    """Distances go on over computers, whatever the new one shows."""
    events = literal(
        (1, "distance_read", {"odometer": km(100)}),
        (2, "distance_read", {"odometer": km(250)}),
        (3, "distance_read", {"odometer": km(10), "computer_replaced": True}),
        (4, "distance_read", {"odometer": km(40)}),
        (5, "distance_read", {"odometer": km(0), "computer_replaced": True}),
    )
    assert picked("distance_readings", events, "seq", "computer", "distance_total_km") == [
        (1, 0, Decimal(100)),
        (2, 0, Decimal(250)),
        (3, 1, Decimal(260)),
        (4, 1, Decimal(290)),
        (5, 2, Decimal(290)),
    ]
    assert picked("distances_now", events, "distance_km", "read_at") == [(Decimal(290), at(5))]


def test_the_last_who_says_it_decides_who_rides() -> None:
    """The rider may become unknown again; a riding left empty leaves the one before."""
    events = literal(
        (1, "bike_registered", {"make": "Tidemark", "riding": "touring", "bike_kind": "road"}),
        (3, "rider_changed", {"rider": "r1"}),
        (5, "rider_changed", {"rider": None, "keeper": "k1"}),
        (4, "job_opened", {"riding": "commuting"}),
    )
    columns = ("rider", "keeper", "riding")
    assert picked("riders_now", events, *columns) == [(None, "k1", "commuting")]
    assert picked("riders_now", events, *columns, asked=Asked(at(3), 9)) == [
        ("r1", "r1", "touring")
    ]


ROTATION = literal(
    (0, "distance_read", {"odometer": km(1000)}),
    (1, *fitted("chain", "A")),
    (2, "distance_read", {"odometer": km(1400)}),
    (3, *removed("chain", "A", reason="rotated")),
    (3, *fitted("chain", "B")),
    (4, "distance_read", {"odometer": km(2000)}),
    (5, *fitted("chain", "A", replaces="B")),
    (6, "distance_read", {"odometer": km(2100)}),
)
"""Two chains in turn on one bike."""


def test_every_fitting_knows_the_distance_until_then_and_now() -> None:
    """Fittings and removals stand among the readings, with the last one before them."""
    columns = ("seq", "kind", "distance_total_km", "at_km", "now_km")
    assert picked("distance_marks", ROTATION[1:6], *columns) == [
        (2, "part_fitted", None, None, Decimal(2000)),
        (3, "distance_read", Decimal(1400), Decimal(1400), Decimal(2000)),
        (4, "part_removed", None, Decimal(1400), Decimal(2000)),
        (5, "part_fitted", None, Decimal(1400), Decimal(2000)),
        (6, "distance_read", Decimal(2000), Decimal(2000), Decimal(2000)),
    ]


def test_a_part_has_a_spell_each_time_it_is_fitted() -> None:
    """A spell ends with a removal, or when the next part comes to sit there."""
    columns = ("fitted_seq", "part", "start_km", "end_km", "distance_km", "ended_at", "end_reason")
    assert picked("part_spells", ROTATION, *columns) == [
        (2, "A", Decimal(1000), Decimal(1400), Decimal(400), at(3), "rotated"),
        (5, "B", Decimal(1400), Decimal(2000), Decimal(600), at(5), "replaced"),
        (7, "A", Decimal(2000), Decimal(2100), Decimal(100), None, None),
    ]


def test_a_part_has_its_own_distance_over_all_its_spells() -> None:
    """What a rotated part has gone is the sum of its spells, the present one too."""
    columns = ("part", "distance_km", "count_spells", "is_complete", "is_fitted")
    assert picked("part_distances", ROTATION, *columns) == [
        ("A", Decimal(500), 2, True, True),
        ("B", Decimal(600), 1, True, False),
    ]


def test_a_part_moved_between_bikes_keeps_its_distance() -> None:
    """Each bike's own distance counts while the part sits there."""
    first = ROTATION[:4]
    second = [
        event.model_copy(update={"bike": BIKES[1], "seq": event.seq + 10})
        for event in literal(
            (4, "distance_read", {"odometer": km(50)}),
            (5, *fitted("chain", "A")),
            (9, "distance_read", {"odometer": km(80)}),
        )
    ]
    columns = ("part", "bike", "distance_km", "count_bikes", "count_spells", "is_fitted")
    assert picked("part_distances", [*first, *second], *columns) == [
        ("A", BIKES[1], Decimal(430), 2, 2, True)
    ]


def test_a_part_found_on_a_bike_is_never_taken_for_new() -> None:
    """When it was fitted and how far it has gone since are null, never day zero."""
    events = literal(
        (1, "distance_read", {"odometer": km(1000)}),
        (1, *fitted("chain", "A", is_found=True)),
        (2, *fitted("cassette", "C")),
        (3, "distance_read", {"odometer": km(1300)}),
    )
    assert picked("fitted_parts", events, "position", "fitted_at", "distance_since_fitted_km") == [
        ("cassette", at(2), Decimal(300)),
        ("chain", None, None),
    ]
    assert picked("part_distances", events, "part", "distance_km", "is_complete") == [
        ("A", Decimal(300), False),
        ("C", Decimal(300), True),
    ]


def test_without_a_reading_before_it_was_fitted_a_distance_is_null() -> None:
    """A reading at the same time but recorded later is not one before it."""
    events = literal(
        (1, *fitted("chain", "A")),
        (1, "distance_read", {"odometer": km(10)}),
        (2, "distance_read", {"odometer": km(90)}),
    )
    assert picked("part_spells", events, "start_km", "end_km", "distance_km") == [
        (None, Decimal(90), None)
    ]
    assert picked("part_distances", events, "distance_km", "is_complete") == [(None, False)]


def test_the_last_reading_of_each_point_stands() -> None:
    """Points of one part are read apart; no point is a point of its own."""
    reading = {"position": "cassette", "quantity": "tooth_wear"}
    events = literal(
        (3, "measured", {**reading, "value": mm("0.200"), "point": "17T"}),
        (1, "measured", {**reading, "value": mm("0.100"), "point": "17T"}),
        (2, "measured", {**reading, "low": mm("0.300"), "verdict": "due", "limit": mm("0.250")}),
    )
    columns = ("point", "value", "value_low", "limit_value", "verdict", "unit")
    assert picked("last_readings", events, *columns) == [
        ("17T", Decimal("0.2"), None, None, None, "mm"),
        (None, None, Decimal("0.3"), Decimal("0.25"), "due", "mm"),
    ]


def test_a_reading_ends_with_what_was_measured() -> None:
    """Fitting or removing there, or on what carries it, ends it; finding a part does not."""

    def read(position: str) -> tuple[str, dict[str, Any]]:
        return "measured", {"position": position, "quantity": "thickness", "value": mm("1.0")}

    before = (
        (1, *read("front_wheel.tyre")),
        (1, *read("front_brake.pads")),
        (1, *read("rear_wheel.rim")),
        (1, *read("chain")),
    )
    after = (
        (2, *fitted("front_wheel", "W")),
        (2, *removed("front_brake.pads", "P")),
        (2, *fitted("rear_wheel", "V", is_found=True)),
        (2, *removed("chainring", "R")),
    )
    assert picked("last_readings", literal(*before, *after), "position") == [
        ("chain",),
        ("rear_wheel.rim",),
    ]


def test_a_torque_is_voided_by_work_on_what_its_position_hides() -> None:
    """Even a torque set at the bottom bracket voids that of the cranks, which hide it."""
    events = literal(
        (1, *torque("crank")),
        (2, *torque("bottom_bracket", "40.000")),
        (3, *torque("rear_wheel")),
        (4, "adjusted", {"position": "rear_wheel"}),
    )
    assert picked("last_settings", events, "position", "value", "unit", "set_at") == [
        ("bottom_bracket", Decimal(40), "N·m", at(2))
    ]


def test_a_setting_that_is_no_torque_outlasts_adjustments_beside_it() -> None:
    """A pressure stays when the torque there is set, and ends when the part goes."""
    pressure = {"value": "2.500", "unit": "bar", "canonical": "2.500"}
    events = literal(
        (
            1,
            "adjusted",
            {"position": "front_wheel.tyre", "quantity": "pressure", "after": pressure},
        ),
        (2, "adjusted", {"position": "front_wheel.tyre"}),
        (3, *removed("front_wheel", "W")),
    )
    assert picked("last_settings", events, "quantity", "value", asked=Asked(at(2), 9)) == [
        ("pressure", Decimal("2.5"))
    ]
    assert picked("last_settings", events, "quantity", asked=Asked(at(3), 9)) == []


def test_a_fault_is_open_since_the_first_finding_after_it_was_last_put_right() -> None:
    """The cause is the last one given since then, the verdict that of the last look."""

    def look(verdict: str, **more: str) -> tuple[str, dict[str, Any]]:
        return "inspected", {
            "position": "rear_brake.pads",
            "fault": "squeal",
            "verdict": verdict,
            **more,
        }

    events = literal(
        (1, *look("watch", cause="glazed")),
        (
            2,
            "treated",
            {
                "position": "rear_brake.rotor",
                "treatment": "sanded",
                "puts_right": {"fault": "squeal", "position": "rear_brake.pads"},
            },
        ),
        (3, *look("due")),
        (
            4,
            "diagnosed",
            {
                "position": "rear_brake.pads",
                "symptom": "squeal",
                "cause": "bent",
                "why_stopped": "cause found",
            },
        ),
        (5, *look("not checked", why_not_checked="no time", cause="contaminated")),
        (6, *look("unsafe")),
        (7, *look("within limit")),
    )
    columns = ("position", "fault", "cause", "verdict", "found_at", "id")
    assert picked("open_faults", events, *columns, asked=Asked(at(1), 9)) == [
        ("rear_brake.pads", "squeal", "glazed", "watch", at(1), event_id(1))
    ]
    assert picked("open_faults", events, *columns, asked=Asked(at(2), 9)) == []
    assert picked("open_faults", events, *columns, asked=Asked(at(6), 9)) == [
        ("rear_brake.pads", "squeal", "bent", "unsafe", at(3), event_id(3))
    ]
    assert picked("open_faults", events, *columns) == []


def test_advice_is_open_until_yes_or_no() -> None:
    """No reply and later leave it open; the last answer counts, by when it was given."""

    def answer(to: int, said: str) -> tuple[str, dict[str, Any]]:
        return "advice_answered", {"advice": event_id(to), "answer": said, "how": "phone"}

    advice = {"position": "chain", "verdict": "due", "urgency": "soon"}
    events = literal(
        (1, "advised", advice),
        (1, "advised", advice),
        (1, "advised", advice),
        (5, *answer(1, "later")),
        (4, *answer(1, "yes")),
        (5, *answer(2, "no")),
    )
    assert picked("open_advice", events, "id", "answer", "urgency") == [
        (event_id(1), "later", "soon"),
        (event_id(3), None, "soon"),
    ]


def test_a_job_is_open_until_closed_and_waits_until_resumed() -> None:
    """The last hold says what a visit waits for, unless work went on since."""
    events = literal(
        (1, "job_opened", {"tier": "overhaul", "promised_at": "2025-03-09T16:00:00Z"}),
        (2, "job_held", {"waiting_for": "part"}),
        (3, "job_resumed", {}),
        (4, "job_closed", {}),
    )
    columns = ("job", "tier", "opened_at", "waiting_for")
    for hour, waiting_for in ((1, None), (2, "part"), (3, None)):
        assert picked("open_jobs", events, *columns, asked=Asked(at(hour), 9)) == [
            ("J1", "overhaul", at(1), waiting_for)
        ]
    assert picked("open_jobs", events, *columns) == []


def test_a_bike_has_one_summary() -> None:
    """Who, what, how far, first and last seen, and how many events were folded."""
    events = literal(
        (1, "bike_registered", {"make": "Tidemark", "bike_kind": "road"}),
        (2, "distance_read", {"odometer": km(12)}),
        (3, "job_opened", {}),
        (4, *fitted("chain", "A")),
    )
    columns = (
        "make",
        "model",
        "bike_kind",
        "rider",
        "distance_km",
        "first_seen_at",
        "last_seen_at",
        "count_jobs",
    )
    assert picked("bike_summary", events, *columns, "count_parts_fitted", "events_used") == [
        ("Tidemark", None, "road", None, Decimal(12), at(1), at(4), 1, 1, 4)
    ]


def test_the_timeline_keeps_struck_events_and_names_the_strike() -> None:
    """What was struck stays readable; before the strike was known it was not struck."""
    events = literal(
        (5, "noted", {"position": "chain", "text": "dry"}),
        (6, "event_struck", {"target": event_id(1), "reason": "wrong bike"}),
    )
    rows = {row["seq"]: row["struck_by"] for row in rows_of("timeline", events)}
    assert {seq: raw and id_text(raw) for seq, raw in rows.items()} == {1: event_id(2), 2: None}
    earlier = rows_of("timeline", events, Asked(at(9), 1))
    assert [(row["seq"], row["struck_by"], row["position"]) for row in earlier] == [
        (1, None, "chain")
    ]


def test_a_shop_has_one_row_of_counts_even_when_empty() -> None:
    """An empty book counts nothing, and that is a row too."""
    columns = ("events", "bikes", "riders", "jobs", "jobs_open", "faults_open", "last_seen_at")
    assert picked("shop_summary", [], *columns) == [(0, 0, 0, 0, 0, 0, None)]
    events = literal(
        (1, "rider_changed", {"rider": "r1"}),
        (2, "job_opened", {}),
        (3, "inspected", {"position": "chain", "verdict": "due", "fault": "worn"}),
    )
    assert picked("shop_summary", events, *columns) == [(3, 1, 1, 1, 1, 1, at(3))]
