"""Spark over a book's files: what it reads, what it is told, and what it refuses."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pytest

from ledger.engines import spark as spark_module
from ledger.engines.duckdb import Asked, DuckEngine
from ledger.engines.spark import SparkEngine, files_at, missing, spark_session
from ledger.engines.tables import bike_alias
from ledger.errors import BookDamaged, LedgerError
from ledger.sql.translate import to_spark
from tests.engines.alike import differences
from tests.sql import lives, shelf

if TYPE_CHECKING:
    from pyspark.sql import SparkSession

pytestmark = [pytest.mark.spark, pytest.mark.xdist_group("spark")]

NOW = Asked(datetime(2030, 1, 1, tzinfo=UTC), 1_000)
BIKE = lives.BIKES[0]
ODD = "it's \\ 'J' :as_at ${x}"
"""No job is called so; what is bound may be."""


def _events(count: int, first: int = 1) -> pa.Table:
    """Give distance readings of two bikes, numbered from `first` on."""
    from ledger.events import parse_event

    raws = [
        {
            "id": lives.event_id(seq),
            "seq": seq,
            "kind": "distance_read",
            "shop": lives.SHOP,
            "bike": lives.BIKES[seq % 2],
            "actor": "m1",
            "occurred_at": lives.START,
            "recorded_at": lives.START,
            "data": {"odometer": lives.amount(seq, "km"), "source": "read"},
        }
        for seq in range(first, first + count)
    ]
    table = shelf.columns_of([parse_event(raw) for raw in raws])
    place = table.schema.get_field_index("job")
    return table.set_column(place, "job", pa.array([ODD] * count, pa.string()))


def _both(spark: SparkSession, paths: list[Path], relation: str, **more: Any) -> pa.Table:
    """Give a relation by Spark, once DuckDB was seen to give the same."""
    tables = {"position_effects": shelf.effects(), **more.pop("tables", {})}
    one = DuckEngine(lambda: paths).asking(relation, NOW, tables, **more)()
    other = SparkEngine(spark, lambda: paths).asking(relation, NOW, tables, **more)()
    assert differences(relation, one, other) == []
    return other


def test_there_are_two_executors(spark: SparkSession) -> None:
    """What is tested here runs in processes of their own, as on a cluster."""
    assert spark.range(4).count() == 4
    told = spark.sparkContext._jsc.sc().getExecutorMemoryStatus()
    assert told.size() == 3  # the driver is told among them


def test_files_of_before_a_column_are_read_by_name(spark: SparkSession, tmp_path: Path) -> None:
    """A column that a file does not have yet is null there, and order in a file is nothing."""
    folder = tmp_path / "shop=one %20 [two] *"
    folder.mkdir()
    old, new = _events(3), _events(2, 4)
    old = old.select([n for n in reversed(old.column_names) if n not in ("first_used_on", "tier")])
    paths = [
        shelf.file_of(old, folder, "s-1-3.parquet"),
        shelf.file_of(new, folder, "s-4-5.parquet"),
    ]
    assert len(_both(spark, paths, "live_events")) == 5


def test_the_same_files_are_read_at_another_address(spark: SparkSession, tmp_path: Path) -> None:
    """What the executors read may lie elsewhere than the mirror that names it."""
    (tmp_path / "far" / "events").mkdir(parents=True)
    shelf.file_of(_events(3), tmp_path / "far" / "events", "s-1-3.parquet")
    far = files_at(lambda: [tmp_path / "mirror" / "s-1-3.parquet"], f"file://{tmp_path}/far/")
    found = SparkEngine(spark, far).all_bikes("distances_now", NOW, {})
    assert sorted(str(row["distance_km"]) for row in found) == ["2.500000", "3.500000"]


def test_values_are_bound_never_pasted(spark: SparkSession, tmp_path: Path) -> None:
    """Text with quotes and backslashes, lists and empty lists are values of an ending."""
    paths = [shelf.file_of(_events(4), tmp_path)]
    ending = "where job = $job and bike in (select unnest($bikes))"
    for bikes, count in (([BIKE], 2), ([], 0)):
        values = {"job": ODD, "bikes": bikes}
        assert len(_both(spark, paths, "live_events", ending=ending, values=values)) == count


def test_joined_tags_are_one_bike(spark: SparkSession, tmp_path: Path) -> None:
    """With joined tags, both tags' events are one bike's, under the first."""
    paths = [shelf.file_of(_events(4), tmp_path)]
    joined = bike_alias({tag: frozenset(lives.BIKES[:2]) for tag in lives.BIKES[:2]})
    found = _both(spark, paths, "bike_summary", tables={"bike_alias": joined})
    assert found["bike"].to_pylist() == [BIKE]


def test_a_book_without_files_has_every_column_and_no_rows(spark: SparkSession) -> None:
    """An empty book is answered like any other."""
    assert len(_both(spark, [], "bike_summary")) == 0
    assert _both(spark, [], "shop_summary")["events"].to_pylist() == [0]


def test_a_file_in_anothers_place_is_told_as_duckdb_tells_it(
    spark: SparkSession, tmp_path: Path
) -> None:
    """Files mixed up give no figure, and the same words."""
    paths = [
        shelf.file_of(_events(2, 3), tmp_path, "s-1-2.parquet"),
        shelf.file_of(_events(2), tmp_path, "s-3-4.parquet"),
    ]
    tables = {"position_effects": shelf.effects()}
    with pytest.raises(BookDamaged) as by_duckdb:
        DuckEngine(lambda: paths).asking("live_events", NOW, tables)
    with pytest.raises(BookDamaged) as by_spark:
        SparkEngine(spark, lambda: paths).asking("live_events", NOW, tables)
    assert str(by_spark.value) == str(by_duckdb.value)


def test_one_shops_book_given_twice_is_refused(spark: SparkSession, tmp_path: Path) -> None:
    """Two books of one shop would count its bikes twice."""
    one = shelf.file_of(_events(2), tmp_path, "s-1-2.parquet")
    two = shelf.file_of(_events(2), tmp_path, "s-1-2-copy.parquet")
    engine = SparkEngine(spark, lambda: [one], lambda: [two])
    with pytest.raises(LedgerError, match="Two of the books are of the shop 'quayside'"):
        engine.asking("live_events", NOW, {})


def test_what_else_runs_in_the_session_is_left_alone(spark: SparkSession, tmp_path: Path) -> None:
    """A session's own settings and tables stay as they are, and do not reach a query."""
    paths = [shelf.file_of(_events(2), tmp_path)]
    spark.conf.set("spark.sql.session.timeZone", "Asia/Tokyo")
    spark.conf.set("spark.sql.ansi.enabled", "false")
    spark.range(1).createOrReplaceTempView("events")
    assert len(_both(spark, paths, "live_events")) == 2
    assert spark.conf.get("spark.sql.session.timeZone") == "Asia/Tokyo"
    assert spark.table("events").count() == 1


def test_steps_of_one_name_in_two_relations_stay_apart() -> None:
    """Spark's one list of steps has each step of each relation once, by its whole name."""
    text = to_spark("open_clocks")
    assert "clock_spells__clocks AS (" in text and "open_clocks__clocks AS (" in text
    assert "FROM events LEFT JOIN timeline__strikes AS strikes" in to_spark("timeline")


def test_what_is_missing_is_said_in_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without pyspark, or Java, nothing is started and the words say what to install."""
    monkeypatch.setattr(spark_module, "find_spec", lambda name: None)
    assert "make setup-spark" in missing()
    monkeypatch.setattr(spark_module, "find_spec", lambda name: name)
    monkeypatch.setenv("PATH", "")
    monkeypatch.delenv("JAVA_HOME", raising=False)
    assert "Java 17" in missing()
    with pytest.raises(LedgerError, match="Java 17"):
        spark_session()
