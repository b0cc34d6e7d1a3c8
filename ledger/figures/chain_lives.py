"""Each chain and each sprocket a book has read, as one life: marks of wear along time and km."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from operator import itemgetter
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.readings import BookReadings

Errors = Mapping[tuple[str | None, str], float]
"""(gauge, quantity) -> 1 sd of a reading, in the quantity's unit."""
WORN_OUT = frozenset({"worn", "replaced"})
"""Reasons that end a part because it is used up."""
USUAL_ERROR = {"elongation": 0.05, "tooth_wear": 0.05}
"""1 sd in % and mm where no gauge's is registered: an assumption."""
_OF_READING = (
    *("series", "part", "bike", "rider", "point", "quantity", "gauge", "measured_at"),
    *("value", "low", "high", "limit", "distance_km", "is_from_new"),
)
_OF_PART = ("fitted_at", "ended_at", "end_reason", "distance_km")
_AT_ONCE = 20_000
NEW_ERROR = {"elongation": 0.06}
"""1 sd of new parts' own wear: new chains measure -0.10 to +0.15 % (a published measuring guide,
fagan.co.za)."""


@dataclass(frozen=True, slots=True)
class Mark:
    """Wear at one time; `km` is the part's own, None where no distance is known."""

    at: datetime
    wear: float
    km: float | None
    error: float
    """1 sd of `wear`."""


@dataclass(frozen=True, slots=True)
class Life:
    """One series of readings: a chain, or one sprocket of a cassette."""

    part: str
    bike: str
    who: str
    """The rider's id, else `bike` and its tag."""
    point: str | None
    limit: float | None
    """That of the last reading."""
    marks: tuple[Mark, ...]
    """From new (wear 0) where that is known, then every reading that is a figure."""
    count_read: int
    last_read_at: datetime
    is_past: bool | None
    """Past the limit at the last reading; None where an interval leaves it open."""
    is_from_new: bool
    ended_at: datetime | None
    is_worn_out: bool
    """Ended, and because it was used up or another took its place."""
    end_km: float | None


def lives(
    tables: BookReadings, quantity: str, position: str, errors: Errors | None = None
) -> list[Life]:
    """Give the lives of what is read for a quantity at a position, or under it.

    `errors` of gauges; where one has none, USUAL_ERROR.
    """
    readings = tables.readings
    is_there = pc.or_(
        pc.equal(readings["position"], position),
        pc.starts_with(readings["position"], f"{position}."),
    )
    is_wanted = pc.and_(is_there, pc.equal(readings["quantity"], quantity))
    wanted = readings.select(_OF_READING).filter(is_wanted)
    series = wanted["series"].combine_chunks().dictionary_encode().indices.to_numpy()
    ordered = wanted.take(np.argsort(series, kind="stable"))
    found = groupby(_rows(ordered), key=itemgetter("series"))
    firsts = np.flatnonzero(np.diff(np.sort(series), prepend=-1))
    places = pc.index_in(ordered["part"].take(firsts), value_set=tables.parts["part"])
    parts = _rows(tables.parts.select(_OF_PART).take(places))
    return [
        _life(list(rows), part, errors or {}) for (_, rows), part in zip(found, parts, strict=True)
    ]


def _rows(table: pa.Table) -> Iterator[dict[str, Any]]:
    """Give a table's rows one after another; not all of them are in memory."""
    for some in table.to_batches(_AT_ONCE):
        yield from some.to_pylist()


def who_of(row: Mapping[str, Any]) -> str:
    """Give who answers for a row's wear: the rider, else the bike."""
    return row["rider"] or f"bike {row['bike']}"


def _life(rows: list[dict[str, Any]], part: Mapping[str, Any], errors: Errors) -> Life:
    last = rows[-1]
    is_from_new = all(row["is_from_new"] for row in rows)
    marks = [mark for row in rows if (mark := _mark(row, errors)) is not None]
    if is_from_new:
        error = NEW_ERROR.get(last["quantity"], 0.0)
        marks.insert(0, Mark(part["fitted_at"], 0.0, 0.0, error))
    return Life(
        part=last["part"],
        bike=last["bike"],
        who=who_of(last),
        point=last["point"],
        limit=last["limit"],
        marks=tuple(marks),
        count_read=len(rows),
        last_read_at=last["measured_at"],
        is_past=is_past(last),
        is_from_new=is_from_new,
        ended_at=part["ended_at"],
        is_worn_out=part["end_reason"] in WORN_OUT,
        end_km=part["distance_km"],
    )


def _mark(row: Mapping[str, Any], errors: Errors) -> Mark | None:
    """Give a reading as one figure: an interval closed on both sides is its middle."""
    wear, quantity = row["value"], row["quantity"]
    error = errors.get((row["gauge"], quantity), USUAL_ERROR.get(quantity, 0.0))
    if wear is None and row["low"] is not None and row["high"] is not None:
        wear = (row["low"] + row["high"]) / 2
        error = math.hypot(error, (row["high"] - row["low"]) / math.sqrt(12))
    return None if wear is None else Mark(row["measured_at"], wear, row["distance_km"], error)


def is_past(row: Mapping[str, Any]) -> bool | None:
    """Say whether a reading is at or past its limit; None where its interval leaves it open.

    For wear that grows: the mark that went in (`low`) bounds it below, the one that did not
    (`high`) above.
    """
    limit = row["limit"]
    if limit is None:
        return None
    if row["value"] is not None:
        return bool(row["value"] >= limit - 1e-9)
    if row["low"] is not None and row["low"] >= limit - 1e-9:
        return True
    return False if row["high"] is not None and row["high"] <= limit + 1e-9 else None
