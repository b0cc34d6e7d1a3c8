"""Holds of jobs: the longest first, in the same order however the table comes."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import pyarrow as pa

from ledger.figures.held_rows import Holds

BEGAN = datetime(2026, 1, 1, tzinfo=UTC)
NOW = datetime(2026, 6, 1, tzinfo=UTC)


def rows(chance: random.Random) -> list[dict[str, object]]:
    held = []
    for number in range(30):
        at = BEGAN + timedelta(days=chance.randrange(60))
        ended = at + timedelta(days=chance.randrange(1, 4)) if chance.random() < 0.8 else None
        held.append({"bike": f"B{chance.randrange(5)}", "job": f"j{number}", "tier": None,
                     "waiting_for": "part", "held_at": at, "ended_at": ended})  # fmt: skip
    return held


def test_holds_of_the_same_length_stand_in_one_order() -> None:
    """By bike and job, with any limit: those cut off are the last of the whole list."""
    at = pa.timestamp("us", "UTC")
    schema = pa.schema(
        [(name, pa.string()) for name in ("bike", "job", "tier", "waiting_for")]
        + [("held_at", at), ("ended_at", at)]
    )
    for seed in range(10):
        chance = random.Random(seed)
        held = rows(chance)
        whole = sorted(held, key=lambda row: (
            row["held_at"] - (row["ended_at"] or NOW), row["bike"], row["job"]
        ))  # fmt: skip
        for limit in (0, 1, 7, 30, 99):
            chance.shuffle(held)
            found = Holds(pa.Table.from_pylist(held, schema), BEGAN, NOW, NOW).jobs(limit)
            assert [one.job for one in found] == [row["job"] for row in whole[:limit]]
    assert Holds(schema.empty_table(), BEGAN, NOW, NOW).jobs(5) == ()
