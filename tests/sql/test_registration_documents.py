"""The relation of stored registrations, with literal events in and explicit rows out."""

from __future__ import annotations

from lives import literal
from shelf import rows_of


def test_the_documents_of_registrations_are_the_stored_bytes() -> None:
    """One row a live registration, with what has no column; a note is none."""
    rows = rows_of(
        "registration_documents",
        literal(
            (0, "bike_registered", {"wheel_size": "622 x 42"}),
            (1, "noted", {"position": "frame", "text": "A dent"}),
        ),
    )
    assert [row["seq"] for row in rows] == [1]
    assert b'"wheel_size":"622 x 42"' in rows[0]["canonical"]
