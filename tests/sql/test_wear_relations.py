"""The relations that wear is worked out from, with literal events in and explicit rows out."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from lives import START, literal
from shelf import rows_of


def km(figure: int) -> dict[str, Any]:
    amount = {"value": str(figure), "unit": "km", "canonical": str(figure)}
    return {"odometer": amount}


def wear(position: str = "chain") -> dict[str, Any]:
    value = {"value": "0.3", "unit": "%", "canonical": "0.3"}
    return {"position": position, "quantity": "elongation", "value": value}


def marks(*rows: tuple[Any, ...]) -> dict[int, dict[str, Any]]:
    """Give the rows of wear_marks over events of one bike, by seq."""
    return {row["seq"]: row for row in rows_of("wear_marks", literal(*rows))}


def test_a_mark_knows_the_distance_readings_before_and_after_it() -> None:
    """By time, not by seq; null where there is none on that side."""
    found = marks(
        (10, "measured", wear()),
        (5, "distance_read", km(100)),
        (20, "distance_read", km(300)),
        (1, "part_fitted", {"position": "chain", "part": "A"}),
        (30, "part_removed", {"position": "chain", "part": "A"}),
    )
    around = {seq: (row["before_seq"], row["after_seq"]) for seq, row in found.items()}
    assert around == {1: (2, 3), 2: (2, 2), 3: (3, 3), 4: (None, 2), 5: (3, None)}
    assert (found[1]["before_km"], found[1]["after_km"]) == (100, 300)
    assert found[1]["after_at"] == START + timedelta(hours=20)
    assert {row["latest_seq"] for row in found.values()} == {3}


def test_a_mark_knows_rider_riding_and_sprockets_of_then() -> None:
    """As the last event until then says; a rider who left is nobody, not the one before."""
    found = marks(
        (0, "bike_registered", {"speeds": 11, "riding": "commute"}),
        (1, "rider_changed", {"rider": "r1"}),
        (2, "measured", wear()),
        (3, "rider_changed", {"riding": "touring"}),
        (4, "measured", wear()),
    )
    known = {seq: (row["rider"], row["riding"], row["speeds"]) for seq, row in found.items()}
    assert known == {3: ("r1", "commute", 11), 5: (None, "touring", 11)}


def test_what_is_there_is_what_the_last_move_left() -> None:
    """A new wheel replaces the rim; a wheel found there replaces nothing."""
    rim, wheel = {"position": "rear_wheel.rim"}, {"position": "rear_wheel"}
    found = marks(
        (0, "measured", wear("rear_wheel.rim")),
        (1, "part_fitted", {**rim, "part": "R"}),
        (2, "part_fitted", {**wheel, "part": "old", "is_found": True}),
        (3, "measured", wear("rear_wheel.rim")),
        (4, "part_fitted", {**wheel, "part": "W"}),
        (5, "measured", wear("rear_wheel.rim")),
        (6, "part_removed", {**wheel, "part": "W"}),
        (7, "measured", wear("rear_wheel.rim")),
    )
    there = {seq: (found[seq]["there_kind"], found[seq]["there_part"]) for seq in (1, 4, 6, 8)}
    assert there == {
        1: (None, None),
        4: ("part_fitted", "R"),
        6: ("part_fitted", "W"),
        8: ("part_removed", "W"),
    }


def test_the_documents_of_measurements_are_the_stored_bytes() -> None:
    """One row a live measurement, with what was hashed."""
    rows = rows_of("measured_documents", literal((0, "measured", wear()), (1, "noted", {
        "position": "chain", "text": "dry"})))  # fmt: skip
    assert [(row["seq"], row["quantity"]) for row in rows] == [(1, "elongation")]
    assert b'"quantity":"elongation"' in rows[0]["canonical"]
