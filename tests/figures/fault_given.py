"""Tables of faults told row by row, in days since 1 January 2025, as if a book had given them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace
from typing import Any

import pyarrow as pa

from ledger.figures.fault_tables import BIKES, MOMENT, REPAIRS, SPELLS, FaultTables
from ledger.storage.schema import LINE

DAY_0 = datetime(2025, 1, 1, tzinfo=UTC)
Row = dict[str, Any]

EPISODES = pa.schema(
    [("bike", pa.string()), ("position", pa.string()), ("system", pa.string()),
     ("fault", pa.string()), ("found_at", MOMENT), ("found_job", pa.string()),
     ("ended_at", MOMENT)]
)  # fmt: skip
JOBS = pa.schema(
    [("bike", pa.string()), ("job", pa.string()), ("tier", pa.string()), ("closed_at", MOMENT),
     *((f"minutes_{kind}", pa.int64())
       for kind in ("quoted", "found_later", "come_back", "goodwill"))]
)  # fmt: skip
WORK = pa.schema(
    [("bike", pa.string()), ("job", pa.string()), ("position", pa.string()),
     ("treatment", pa.string())]
)  # fmt: skip
LOOKS = pa.schema([("bike", pa.string()), ("position", pa.string()), ("occurred_at", MOMENT)])
BILLS = pa.schema([("bike", pa.string()), ("job", pa.string()), ("lines", pa.list_(LINE))])
DISTANCES = pa.schema(
    [("bike", pa.string()), ("seq", pa.int64()), ("occurred_at", MOMENT),
     ("distance_total_km", pa.float64())]
)  # fmt: skip

USUAL: Row = {
    "position": "chain", "system": "drivetrain", "fault": "noise", "kind": "treated",
    "actor": "mia", "found_seq": 1, "seq": 1, "window_days": 90, "window_km": 1000.0,
    "minutes_quoted": 0, "minutes_found_later": 0, "minutes_come_back": 0, "minutes_goodwill": 0,
    "treatment": "lubricated", "part": "p", "is_found": False, "is_ended": False,
}  # fmt: skip


def at(day: float | None) -> datetime | None:
    """Give a day as an instant."""
    return None if day is None else DAY_0 + timedelta(days=day)


def table(schema: pa.Schema, rows: list[Row]) -> pa.Table:
    """Give rows as a table; what is not told is as usual, days are instants."""
    columns = []
    for field in schema:
        values = [row.get(field.name, USUAL.get(field.name)) for row in rows]
        if field.type == MOMENT:
            values = [at(value) for value in values]
        columns.append(pa.array(values, field.type))
    return pa.table(columns, schema=schema)


def given(
    bikes: list[Row] | None = None, episodes: list[Row] | None = None,
    jobs: list[Row] | None = None, repairs: list[Row] | None = None,
    spells: list[Row] | None = None, work: list[Row] | None = None,
    looks: list[Row] | None = None, bills: list[Row] | None = None,
    distances: list[Row] | None = None,
) -> FaultTables:  # fmt: skip
    """Give tables of these rows and no others."""
    relations = {
        "job_facts": table(JOBS, jobs or []),
        "preventive_work": table(WORK, work or []),
        "position_looks": table(LOOKS, looks or []),
        "job_bills": table(BILLS, bills or []),
        "distance_readings": table(DISTANCES, distances or []),
    }
    matching = SimpleNamespace(episodes=table(EPISODES, episodes or []), repeats=None, jobs=None)
    tables = FaultTables(
        book=None, as_at=at(2000), today=date(2030, 6, 24), known_seq=0, window=None,
        matching=matching, bike="given", given=relations,
    )  # fmt: skip
    tables.__dict__["bikes"] = table(BIKES, bikes or [])
    tables.__dict__["repairs"] = table(REPAIRS, [repair(**row) for row in repairs or []])
    tables.__dict__["spells"] = table(SPELLS, spells or [])
    return tables


def repair(**row: Any) -> Row:
    """Give a repair followed until it was found again, else until observation ended."""
    again, right = row.get("again_at"), row["put_right_at"]
    days = (row["observed_until"] if again is None else again) - right
    is_back = again is not None and days <= row.get("window_days", 90)
    told = {"days_followed": days, "is_found_again": again is not None, "is_come_back": is_back}
    return {**told, "is_mature": is_back or days > row.get("window_days", 90), **row}
