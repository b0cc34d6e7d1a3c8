"""Spark gives what DuckDB gives: every relation, to the row, over random books."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from random import Random
from typing import TYPE_CHECKING

import pyarrow as pa
import pytest

from ledger import sql
from ledger.engines.duckdb import Asked, DuckEngine
from ledger.engines.spark import SparkEngine
from ledger.events import Event, parse_event
from tests import strategies
from tests.engines.alike import differences, drawn
from tests.long import times
from tests.sql import lives, shelf

if TYPE_CHECKING:
    from pyspark.sql import SparkSession

pytestmark = [pytest.mark.spark, pytest.mark.xdist_group("spark")]

HERE = Asked(datetime(2026, 1, 1, tzinfo=UTC), 40)
"""Cuts the longer books in time and in what was known."""


def _advice() -> list[Event]:
    """Give advice with a price, one answered twice, one struck, one never answered."""
    moves = [
        (
            "advised",
            {"position": "chain", "verdict": "due", "urgency": "soon", "price_minor": 4500},
        ),
        ("advised", {"position": "crank", "verdict": "watch", "urgency": "now", "price_minor": 10}),
        ("advised", {"position": "fork", "verdict": "watch", "urgency": "soon", "price_minor": 7}),
        ("advice_answered", {"advice": 1, "answer": "later", "how": "phone"}),
        ("advice_answered", {"advice": 1, "answer": "yes", "how": "phone"}),
        ("event_struck", {"target": 3, "reason": "typo"}),
    ]
    events = []
    for seq, (kind, data) in enumerate(moves, 1):
        named = {key: lives.event_id(data[key]) for key in ("advice", "target") if key in data}
        raw = {"id": lives.event_id(seq), "seq": seq, "kind": kind, "shop": lives.SHOP}
        at = lives.START + timedelta(hours=seq)
        told = {"bike": "AAAAAAA1", "actor": "m1", "occurred_at": at, "recorded_at": at}
        events.append(parse_event({**raw, **told, "data": {**data, **named}}))
    return events


def _books() -> list[list[Event]]:
    """Give books of any mess, and books the rules accept: late, struck and restored events."""
    wild = drawn(lives.lives(at_least=15, at_most=60), times(40, usual=20))
    lawful = drawn(strategies.lives(60), times(20, usual=10))
    lawful += drawn(strategies.fault_lives(60), times(20, usual=10))
    return [_advice(), *wild, *(list(life.events) for life in lawful)]


def _as_shops(books: Sequence[Sequence[Event]], chance: Random) -> list[pa.Table]:
    """Give each book as a shop of its own, moved in time so that HERE falls somewhere in it."""
    tables = []
    for number, events in enumerate(books):
        # The advice is seen whole: its place is the first.
        at = events[-1].occurred_at if number == 0 else chance.choice(shelf.dates_of(events)[-12:])
        table = shelf.columns_of(events)
        tables.append(shelf.shifted(table, f"shop-{number}", number, HERE.as_at - at, 0))
    return tables


@pytest.fixture(scope="module")
def shops() -> list[pa.Table]:
    """Give many shops' books."""
    return _as_shops(_books(), Random(20261129))


@pytest.fixture(scope="module")
def by_duckdb(shops: list[pa.Table]) -> dict[str, pa.Table]:
    """Give every relation over all shops, by DuckDB."""
    engine = DuckEngine(lambda: [])
    tables = {"position_effects": shelf.effects()}
    return engine.one_bike_tables(sql.relations(), HERE, pa.concat_tables(shops), tables)


@pytest.fixture(scope="module")
def engine(
    spark: SparkSession, shops: list[pa.Table], tmp_path_factory: pytest.TempPathFactory
) -> SparkEngine:
    """Give Spark over one file a shop."""
    folder = tmp_path_factory.mktemp("shops")
    paths = [
        shelf.file_of(table, folder, f"s-{number}.parquet") for number, table in enumerate(shops)
    ]
    return SparkEngine(spark, *(lambda path=path: [path] for path in paths))


@pytest.mark.parametrize("relation", sql.relations())
def test_every_relation_has_the_same_rows(
    engine: SparkEngine, by_duckdb: dict[str, pa.Table], relation: str
) -> None:
    """Columns, their types and every row of a relation over many shops are those of DuckDB."""
    found = engine.asking(relation, HERE, {"position_effects": shelf.effects()})()
    assert len(by_duckdb[relation])
    assert differences(relation, by_duckdb[relation], found) == []
