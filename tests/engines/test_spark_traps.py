"""What the lint refuses is what DuckDB and Spark would answer differently: shown on both."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import duckdb
import pyarrow as pa
import pytest
import sqlglot

from ledger import sql
from ledger.sql.given import GIVEN
from ledger.sql.kinds import columns_of_arrow
from ledger.sql.lint import lint
from ledger.sql.translate import to_spark
from ledger.sql.typed import columns_of

if TYPE_CHECKING:
    from pyspark.sql import SparkSession

HEADER = "-- grain: one\n-- keys: seq\n-- uses: marks\n-- gives: it\n"
FIGURE = pa.decimal128(18, 6)
AT = datetime(2026, 3, 29, 0, 30, tzinfo=UTC)
MARKS = pa.table(
    {
        "seq": pa.array([1, 2, 3, 4], pa.int64()),
        "bike": pa.array(["a", "a", "b", "b"], pa.string()),
        "word": pa.array([None, "x", "y", None], pa.string()),
        "minutes": pa.array([5, 7, None, 9], pa.int32()),
        "value": pa.array([Decimal("0.500000"), Decimal("1.500000"), None, Decimal(2)], FIGURE),
        "occurred_at": pa.array([AT, AT, AT, AT], pa.timestamp("us", "UTC")),
        "numbers": pa.array([[3, 1], [2], [], None], pa.list_(pa.int64())),
        "more": pa.array([[1], [2, 3], [4], [5]], pa.list_(pa.int64())),
    }
)
TRAPS = {
    "a list in order": "select bike, list(seq order by seq desc) as n from marks group by bike",
    "days between": (
        "select seq, date_diff('hour', occurred_at, cast('2026-03-30' as timestamptz)) as n"
        " from marks"
    ),
    "a quantile": "select quantile_cont(value, 0.3) as seq from marks",
    "an asof join": (
        "select a.seq from marks as a asof join marks as b on a.bike = b.bike and a.seq >= b.seq"
    ),
    "the word of the last": "select arg_max(word, seq) as seq from marks",
    "a division": "select seq, value / 3 as third from marks",
    "decided by a null": "select max({'word': word, 'seq': seq}).seq as seq from marks",
    "a null at the start": "select min({'value': value, 'seq': seq}).seq as seq from marks",
    "a filter in a window": (
        "select seq, sum(minutes) filter (where word is null) over (partition by bike) as n"
        " from marks"
    ),
    "distinct in a window": (
        "select seq, count(distinct word) over (partition by bike) as n from marks"
    ),
    "two lists": "select seq, unnest(numbers) as n, unnest(more) as m from marks",
    "a list within": "select seq, unnest(numbers) + 1 as n from marks",
    "a fraction cut": "select seq, cast(value as bigint) as n from marks",
    "an instant as text": "select seq, cast(occurred_at as varchar) as told from marks",
    "instants subtracted": "select seq, occurred_at - cast(null as timestamptz) as gap from marks",
    "a sum's own type": "select bike as seq, sum(minutes) as n from marks group by bike",
    "by position": "select seq, word from marks union by name select word, seq from marks",
    "a fraction by another name cut": (
        "with a as (select seq, value as v from marks) select seq, cast(v as bigint) as n from a"
    ),
    "a struct in a column": (
        "with a as (select bike, {'word': word, 'seq': seq} as s from marks),"
        " b as (select bike, max(s) as s from a group by bike) select s.seq as seq from b"
    ),
    "structs in columns compared": (
        "with a as (select seq, {'word': word} as s, {'word': bike} as t from marks)"
        " select seq from a where s < t"
    ),
    "an instant joined to text": "select seq, bike || occurred_at as n from marks",
    "instants of each bike subtracted": (
        "select max(occurred_at) - min(occurred_at) as n from marks group by bike"
    ),
    "a sum's own type in a step": (
        "with a as (select bike, sum(minutes) as n from marks group by bike) select n from a"
    ),
    "whole or not": "select case when seq > 1 then seq else value end as n from marks",
    "whole and not": (
        "with a as (select seq as n from marks union all select value as n from marks)"
        " select n from a"
    ),
    "a number of 20 digits": "select seq, 99999999999999999999 as n from marks",
    "a row's number": "select seq, row_number() over (order by seq) as n from marks",
    "an alias in where": "select seq + 1 as n from marks where n > 3",
    "a sum of booleans": "select cast(sum(word is null) as bigint) as n from marks",
    "a boolean beside a number": "select seq from marks where (word is null) > 0",
    "a count of nothing": "select count() as n from marks",
}
"""By what it is: a query that the lint has to refuse."""


def _refused(query: str) -> str:
    tables = {"marks": columns_of_arrow(MARKS.schema)}
    return "\n".join(str(problem) for problem in lint("trial.sql", HEADER + query, tables))


@pytest.mark.parametrize("trap", sorted(TRAPS))
def test_the_lint_refuses_each_trap(trap: str) -> None:
    """Each query that would not mean the same in Spark has a problem, whatever else it is."""
    assert _refused(TRAPS[trap])


@pytest.mark.parametrize(
    ("query", "said"),
    [
        (TRAPS["decided by a null"], "may be decided by a null"),
        (TRAPS["a null at the start"], "may be decided by a null"),
        (TRAPS["a filter in a window"], "no distinct and no filter"),
        (TRAPS["two lists"], "Take one apart"),
        (TRAPS["a fraction cut"], "Spark cuts it"),
        (TRAPS["an instant as text"], "differs"),
        (TRAPS["a sum's own type"], "Cast what the relation gives"),
        ("select seq, row_number() over (partition by bike) as n from marks", "without an order"),
        ("select seq, 'a\\b' as n from marks", "backslash"),
        ("select seq from marks where occurred_at > '2026-01-01'", "Bind the instant"),
        ("select seq, {'n': seq} = {'n': 1} as n from marks", "field by field"),
        ("select seq, 1e3 as n from marks", "whole number"),
        ("select bike from marks group by all", "Name the columns"),
        ("with a as (with b as (select 1 as seq) select * from b) select * from a", "within a"),
        ("select seq, sum(minutes) over (order by seq range unbounded preceding) as n from marks",
         "Give the frame in rows"),
    ],
)  # fmt: skip
def test_the_lint_says_what_to_write_instead(query: str, said: str) -> None:
    """Each refusal tells what would be right."""
    assert said in _refused(query)


def _by_duckdb(query: str) -> pa.Table:
    connection = duckdb.connect(":memory:")
    connection.execute("set TimeZone = 'UTC'")
    connection.register("marks", MARKS)
    return connection.sql(query).to_arrow_table()


def _answer(table: pa.Table) -> tuple[list[str], list[str]]:
    rows: list[dict[str, Any]] = table.to_pylist()
    return [str(kind) for kind in table.schema.types], sorted(map(repr, rows))


@pytest.mark.spark
@pytest.mark.xdist_group("spark")
def test_each_trap_is_one(spark: SparkSession) -> None:
    """What sqlglot makes of each trap fails in Spark, or gives other rows or other types."""
    from pyspark.errors import PySparkException

    own = spark.newSession()
    own.createDataFrame(MARKS).createOrReplaceTempView("marks")
    alike = []
    for trap, query in TRAPS.items():
        expected = _answer(_by_duckdb(query))
        try:
            translated = sqlglot.transpile(query, read="duckdb", write="spark")[0]
            found = _answer(own.sql(translated).toArrow())
        except PySparkException:
            continue
        if found == expected:
            alike.append(f"{trap}: {translated}")
    assert not alike, "; ".join(alike)


@pytest.mark.spark
@pytest.mark.xdist_group("spark")
def test_every_relation_has_the_types_that_were_worked_out(spark: SparkSession) -> None:
    """What Spark says of every relation's columns is what the lint goes by, and DuckDB gives."""
    from pyspark.sql.pandas.types import to_arrow_schema

    own = spark.newSession()
    for name, schema in GIVEN.items():
        own.createDataFrame(schema.empty_table()).createOrReplaceTempView(name)
    bound = {"as_at": AT, "known_seq": 1}
    for name in sql.relations():
        text = to_spark(name)
        frame = own.sql(text, {key: value for key, value in bound.items() if f":{key}" in text})
        assert columns_of_arrow(to_arrow_schema(frame.schema)) == columns_of(name), name
