"""Relations of one bike as tables: what the whole book's hold of it, and no other bike read."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pyarrow.compute as pc
import pytest

from ledger.book import Book
from ledger.errors import UnknownBike
from ledger.queries import bike_tables, whole_table

GULL, TERN = "7K3M9QXA", "2B4D6F8H"
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
RELATIONS = ("fault_episodes", "fault_repeats", "job_facts", "observed_bikes", "job_bills")


def draft(day: str, kind: str, bike: str | None, data: dict[str, Any]) -> dict[str, Any]:
    of = {"bike": bike, "job": data.pop("_job", None)}
    return {"kind": kind, "actor": "mia", "occurred_at": f"{day}T12:00:00Z", "data": data,
            **{name: value for name, value in of.items() if value}}  # fmt: skip


def two_bikes(folder: Path) -> Book:
    book = Book.init(folder / "book", shop="quay", clock=lambda: NOW)
    squeal = {"position": "rear_brake", "fault": "squeal", "verdict": "due"}
    cured = {"position": "rear_brake", "treatment": "cleaned", "puts_right": {"fault": "squeal"}}
    line = {"line": "l1", "line_type": "labour", "code": "brake", "net_minor": 0}
    bill = {"currency": "EUR", "lines": [{**line, "is_goodwill": True}]}
    for bike in (GULL, TERN):
        job = f"J-{bike}"
        book.append([
            draft("2026-01-01", "bike_registered", bike, {}),
            draft("2026-01-02", "job_opened", bike, {"_job": job}),
            draft("2026-01-02", "inspected", bike, {**squeal, "_job": job}),
            draft("2026-01-02", "treated", bike, {**cured, "_job": job}),
            draft("2026-01-03", "job_closed", bike, {**bill, "_job": job}),
            draft("2026-02-02", "inspected", bike, dict(squeal)),
        ], confirm_clock=True)  # fmt: skip
    return book


@pytest.mark.parametrize("relation", RELATIONS)
def test_one_bikes_table_is_its_part_of_the_whole_books(tmp_path: Path, relation: str) -> None:
    """The same rows and types, asked alone or with others."""
    book = two_bikes(tmp_path)
    whole = whole_table(book, relation)
    part = whole.filter(pc.equal(whole["bike"], GULL)).to_pylist()
    assert 0 < len(part) < len(whole)
    for asked in (RELATIONS, [relation]):
        found = bike_tables(book, GULL, asked)[relation]
        assert found.schema == whole.schema
        assert sorted(found.to_pylist(), key=str) == sorted(part, key=str)


def test_joined_tags_are_under_the_tag_asked_for(tmp_path: Path) -> None:
    """Two tags of one bike: its faults are those of both, whichever is asked for."""
    book = two_bikes(tmp_path)
    link = {"first": {"bike": GULL}, "second": {"bike": TERN}}
    book.append([draft("2026-03-01", "bike_linked", None, link)], confirm_clock=True)
    for tag in (GULL, TERN):
        found = bike_tables(book, tag, ["job_facts"])["job_facts"]
        assert (set(found["bike"].to_pylist()), len(found)) == ({tag}, 2)


def test_an_unknown_bike_is_named(tmp_path: Path) -> None:
    """A tag that nobody registered is refused."""
    with pytest.raises(UnknownBike):
        bike_tables(two_bikes(tmp_path), "9ZZZZZZZ", ["job_facts"])
