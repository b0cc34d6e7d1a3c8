"""Where a book lies says nothing about what is in it."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from ledger.engines.duckdb import Asked, DuckEngine
from ledger.events import parse_event
from tests.sql import lives, shelf


def test_a_folder_called_like_a_column_is_none(tmp_path: Path) -> None:
    """A book below `shop=elsewhere` is of the shop its events name."""
    raw = {"id": lives.event_id(1), "seq": 1, "kind": "distance_read", "shop": lives.SHOP}
    told = {"odometer": lives.amount(7, "km"), "source": "read"}
    at = {"occurred_at": lives.START, "recorded_at": lives.START}
    event = parse_event({**raw, **at, "bike": lives.BIKES[0], "actor": "m1", "data": told})
    folder = tmp_path / "shop=elsewhere"
    folder.mkdir()
    path = shelf.file_of(shelf.columns_of([event]), folder, "s-1-1.parquet")
    now = Asked(datetime(2030, 1, 1, tzinfo=UTC), 1)
    rows = list(DuckEngine(lambda: [path]).all_bikes("bike_summary", now, {}))
    assert [row["shop"] for row in rows] == [lives.SHOP]
    assert str(rows[0]["distance_km"]) == "7.500000"
