"""What the benchmarks ask of a great book, drawn at random once, the same of everybody."""

from __future__ import annotations

import json
import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.book import Book

COUNT_BIKES = 200
_FILES = 40


@dataclass(frozen=True)
class BikeAsked:
    """One bike as at one instant."""

    tag: str
    as_at: datetime


def bikes_asked(path: Path, seed: int = 3) -> list[BikeAsked]:
    """Give bikes of many of a book's files, each with an instant between its first and its last.

    Bikes that are joined with another are left out: beside peers that know no links.
    """
    choose, book = random.Random(seed), Book.open(path)
    joined = book.aliases()
    files = [file for file in book.files() if file.name.startswith("s-")]
    few = choose.sample(files, min(_FILES, len(files)))
    found: dict[str, list[datetime]] = {}
    for file in few:
        table = pq.read_table(file, columns=["bike", "occurred_at"]).drop_null()
        ends = table.group_by("bike").aggregate([("occurred_at", "min"), ("occurred_at", "max")])
        rows = ends.filter(_apart(ends)).sort_by("bike").to_pylist()
        for row in choose.sample(rows, min(len(rows), -(-2 * COUNT_BIKES // len(few)))):
            if row["bike"] not in joined:
                found[row["bike"]] = [row["occurred_at_min"], row["occurred_at_max"]]
    tags = choose.sample(sorted(found), min(COUNT_BIKES, len(found)))
    return [BikeAsked(tag, _between(*found[tag], choose)) for tag in tags]


def _apart(ends: pa.Table) -> pa.ChunkedArray:
    return pc.not_equal(ends["occurred_at_min"], ends["occurred_at_max"])


def _between(first: datetime, last: datetime, choose: random.Random) -> datetime:
    whole = (last - first) // timedelta(microseconds=1)
    return first + timedelta(microseconds=choose.randint(0, whole))


def kept_asked(asked: list[BikeAsked], path: Path) -> Path:
    """Write what is asked, for processes to read."""
    path.write_text(json.dumps([[one.tag, one.as_at.isoformat()] for one in asked]), "utf-8")
    return path


def read_asked(path: Path) -> list[BikeAsked]:
    """Give back what `kept_asked` wrote."""
    rows = json.loads(path.read_text("utf-8"))
    return [BikeAsked(tag, datetime.fromisoformat(at).astimezone(UTC)) for tag, at in rows]
