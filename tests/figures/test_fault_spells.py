"""Which part sat where from when to when, as the figures by part model count it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fault_books import GULL, NOW, TERN, book_of, event, registered

from ledger.asking import OWNER
from ledger.book import Book
from ledger.figures.faults import faults_of
from ledger.queries import whole_table


def fit(day: str, bike: str, position: str, part: str, **more: Any) -> dict[str, Any]:
    return event(day, "part_fitted", bike, {"position": position, "part": part, **more})


def km(day: str, bike: str, figure: int) -> dict[str, Any]:
    shown = {"odometer": {"value": str(figure), "unit": "km"}}
    return event(f"{day}T08:00", "distance_read", bike, shown)


def some_parts(folder: Path) -> Book:
    """A chain replaced, a cassette removed as worn, pads found and moved to another bike."""
    removed = {"position": "cassette", "reason": "worn"}
    moved = {"position": "rear_brake.pads", "reason": "moved"}
    book = book_of(
        folder, registered(GULL, TERN),
        [
            fit("2025-02-01", GULL, "chain", "c1", make="Linkva", model="Linkva 9"),
            fit("2025-08-01", GULL, "chain", "c2", replaces="c1"),
            fit("2025-02-01", GULL, "cassette", "k1"),
            event("2025-09-01", "part_removed", GULL, removed),
            fit("2025-03-01", GULL, "rear_brake.pads", "p1", is_found=True),
            event("2025-10-01", "part_removed", GULL, moved),
        ],
        [km("2025-02-01", GULL, 0), km("2025-08-01", GULL, 1000), km("2025-10-01", GULL, 1800)],
    )  # fmt: skip
    book.append([fit("2025-10-02", TERN, "rear_brake.pads", "p1")], confirm_clock=True)
    return book


def test_spells_are_those_of_the_relation(tmp_path: Path) -> None:
    """Part, place, both ends, reason and names; what lasts ends with the bike's last event."""
    book = some_parts(tmp_path)
    tables = faults_of(book, NOW, asker=OWNER).tables
    seen = dict(zip(*(tables.bikes[name].to_pylist() for name in ("bike", "observed_until")),
                    strict=True))  # fmt: skip
    names = ("part", "bike", "position", "make", "model", "is_found", "started_at", "end_reason")
    whole = whole_table(book, "part_spells", NOW).to_pylist()
    wanted = [(*(row[name] for name in names), row["ended_at"] or seen[row["bike"]])
              for row in whole]  # fmt: skip
    found = [(*(row[name] for name in names), row["ended_at"])
             for row in tables.spells.to_pylist()]  # fmt: skip
    assert sorted(found, key=str) == sorted(wanted, key=str)
    assert len(found) == 5


def test_a_spells_distance_is_what_the_bike_rode_meanwhile(tmp_path: Path) -> None:
    """1,000 km until the new chain; then 800 on it to the last event; nothing known of the other
    bike."""
    rows = faults_of(some_parts(tmp_path), NOW, asker=OWNER).tables.spells.to_pylist()
    gone = {(row["part"], row["bike"]): row["distance_km"] for row in rows}
    assert gone["c1", GULL] == pytest.approx(1000, abs=1)
    assert gone["c2", GULL] == pytest.approx(800, abs=1)
    assert gone["k1", GULL] == pytest.approx(1000 + 800 * 31 / 61, abs=15)
    assert gone["p1", TERN] is None


def test_a_book_without_parts_has_no_spells(tmp_path: Path) -> None:
    """No rows, in the same columns."""
    tables = faults_of(book_of(tmp_path, registered(GULL)), asker=OWNER).tables
    assert len(tables.spells) == 0
    assert "distance_km" in tables.spells.column_names
