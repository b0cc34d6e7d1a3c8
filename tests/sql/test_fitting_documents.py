"""The relation of stored fittings, with literal events in and explicit rows out."""

from __future__ import annotations

from lives import literal
from shelf import rows_of


def test_the_documents_of_fittings_are_the_stored_bytes_with_their_origin() -> None:
    """One row a live fitting: neither a removal nor a reading is one."""
    fitted = {"position": "chain", "part": "A", "origin": "second hand"}
    rows = rows_of(
        "fitting_documents",
        literal(
            (0, "part_fitted", fitted), (1, "part_removed", {"position": "chain", "part": "A"})
        ),
    )
    found = [(row["seq"], row["part"], row["position"], row["origin"]) for row in rows]
    assert found == [(1, "A", "chain", "second hand")]
    assert b'"origin":"second hand"' in rows[0]["canonical"]
