"""The lint knows the type of every expression, whatever it is called, and refuses what differs."""

from __future__ import annotations

from datetime import UTC, datetime

import duckdb
import pytest

from ledger import sql
from ledger.sql.expressions import EXPRESSIONS
from ledger.sql.given import GIVEN
from ledger.sql.kinds import columns_of_arrow
from ledger.sql.lint import CLAUSES, FUNCTIONS, lint
from ledger.sql.typed import AROUND, columns_of

HEADER = "-- grain: x\n-- keys: shop\n-- uses: live_events\n-- gives: y\n"


def found(query: str) -> list[str]:
    """Give everything the lint says about a query over live_events."""
    return [str(problem) for problem in lint("trial.sql", HEADER + query)]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("with t(bike, shop) as (select shop, bike from live_events) select shop, bike from t",
         "`t(bike, shop)`"),
        ("with t as (select shop, bike from live_events) select m.shop from t as m(bike, shop)",
         "`m(bike, shop)`"),
        ("with recursive t as (select shop, seq from live_events union all"
         " select shop, seq + 1 as seq from t where seq < 5) select shop, seq from t",
         "recursive"),
        ("select shop, count() as n from live_events group by shop", "count(*)"),
        ("select shop, row_number() over w as n from live_events window w as (order by seq)",
         "named window"),
        ("select shop, 99999999999999999999 as n from live_events", "too large for bigint"),
    ],
)  # fmt: skip
def test_what_the_translation_drops_or_spark_cannot_read_is_refused(query: str, said: str) -> None:
    """A list of columns beside an alias, a recursion, an empty count, a named window."""
    assert any(said in problem for problem in found(query))


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("with t as (select shop, value as v from live_events)"
         " select shop, cast(v as bigint) as n from t", "Spark cuts it"),
        ("select shop, cast(case when seq > 1 then value end as bigint) as n from live_events",
         "Spark cuts it"),
        ("select shop, cast(outcome as bigint) as n from live_events", "cast outside"),
        ("select shop, cast(occurred_at as varchar) as n from live_events", "cast outside"),
    ],
)  # fmt: skip
def test_a_cast_is_judged_by_the_type_of_what_is_cast(query: str, said: str) -> None:
    """A fraction under another name is still a fraction, and text is no figure."""
    assert [said in problem for problem in found(query)] == [True]


STRUCTS = "with t as (select shop, {'tier': tier, 'seq': seq} as s, seq, lines from live_events) "


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("select shop, max(s) as s from t group by shop", "decided by a null"),
        ("select a.shop from t as a inner join t as b on a.s < b.s", "field by field"),
        ("select shop from t where s in (s)", "field by field"),
        ("select shop, lead(seq) over (order by s) as n from t", "its fields"),
        ("select shop, max(seq) over (partition by s) as n from t", "its fields"),
        ("select s from t group by s", "its fields"),
        ("select distinct s, shop from t", "its fields"),
        ("select count(distinct s) as n from t", "its fields"),
        ("select max(lines) as n from t", "decided by a null"),
        ("select shop from t where lines = lines", "field by field"),
    ],
)
def test_a_struct_is_neither_compared_nor_ordered(query: str, said: str) -> None:
    """What is held in a column is known to be a struct or a list."""
    problems = found(STRUCTS + query)
    assert problems
    assert all(said in problem for problem in problems)


def test_a_struct_that_no_null_can_decide_has_a_max() -> None:
    """Beginning with seq, or the time and seq, held in a column or not."""
    for first in ("'seq': seq", "'occurred_at': occurred_at, 'seq': seq"):
        query = f"with t as (select shop, {{{first}, 'tier': tier}} as s from live_events), "
        query += "most as (select shop, max(s) as s from t group by shop) "
        assert found(query + "select shop, s.tier as tier from most") == []
    named_so = "with t as (select max({'seq': tier, 'job': job}) as s from live_events) "
    assert "decided by a null" in found(named_so + "select s.job as job from t")[0]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("select bike || occurred_at as n from live_events", "joins text with a timestamptz"),
        ("select bike || value as n from live_events", "joins text with a decimal"),
        ("select is_come_back || bike as n from live_events", "joins text with a boolean"),
        ("select starts_with(bike, seq) as n from live_events", "of text and a bigint"),
        ("select max(occurred_at) - min(occurred_at) as n from live_events", "Give both instants"),
        ("with t as (select occurred_at as t1, recorded_at as t2 from live_events)"
         " select t1 - t2 as n from t", "Give both instants"),
        ("select tier + 1 as n from live_events", "Add numbers only"),
    ],
)  # fmt: skip
def test_arithmetic_is_of_numbers_and_joining_of_text(query: str, said: str) -> None:
    """An instant has another text, and the time between two another type, in each."""
    assert [said in problem for problem in found(query)] == [True]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("with t as (select shop, max(occurred_at) as m from live_events group by shop)"
         " select shop from t where m > '2026-01-01'", "Bind the instant"),
        ("select shop from live_events where occurred_at in ('2026-01-01')", "Bind the instant"),
        ("select coalesce(occurred_at, '2026-01-01') as n from live_events", "Bind the instant"),
        ("select shop from live_events where tier < 5", "text beside an int"),
        ("select shop from live_events where seq = '5'", "a bigint beside text"),
        ("select shop from live_events where job = 5", "text beside an int"),
        ("select shop from live_events where is_come_back > 0", "a boolean beside an int"),
        ("select case when seq > 1 then tier else 1 end as n from live_events",
         "text beside an int"),
        ("select case tier when 1 then 2 end as n from live_events", "text beside an int"),
        ("with t as (select seq as n from live_events union all select job as n from live_events)"
         " select n from t", "a bigint beside text"),
        ("select {'a': seq} is null or seq as n from live_events", "is no condition"),
        ("select shop from live_events where seq", "is no condition"),
        ("select lead(seq, 1, tier) over (order by seq) as n from live_events",
         "a bigint beside text"),
    ],
)  # fmt: skip
def test_types_are_not_mixed(query: str, said: str) -> None:
    """Each engine turns one into the other in its own way, or fails."""
    assert [said in problem for problem in found(query)] == [True]


@pytest.mark.parametrize(
    "query",
    [
        "with t as (select shop, sum(seq) as n from live_events group by shop) select n from t",
        "with t as (select {'n': sum(seq)} as s from live_events) select s.n as n from t",
        "select case when seq > 1 then seq else value end as n from live_events",
        "with t as (select seq as n from live_events union all select value as n from live_events)"
        " select n from t",
        "select row_number() over (order by seq) as n from live_events",
        "select speeds + 1 as n from live_events",
        "select null as n from live_events",
        "select coalesce(speeds, 0) as n from live_events",
    ],
)
def test_a_type_of_each_engines_own_is_not_given_away(query: str) -> None:
    """Sums, row numbers and figures mixed with whole numbers are cast before they are given."""
    assert ["Cast what the relation gives" in problem for problem in found(query)] == [True]


def test_a_type_of_each_engines_own_may_be_used_and_cast() -> None:
    """Within the relation their values are alike."""
    query = (
        "with t as (select shop, sum(seq) as s, sum(value) as v from live_events group by shop)"
        " select shop, cast(s as bigint) as s, cast(v as decimal(18, 6)) as v, s > 3 as is_much"
        " from t where coalesce(v, 0) < 5"
    )
    assert found(query) == []


@pytest.mark.parametrize("of", ["is_come_back", "tier", "occurred_at"])
def test_only_numbers_are_summed(of: str) -> None:
    """Spark has no sum of booleans."""
    problems = found(f"select shop, cast(sum({of}) as bigint) as n from live_events group by shop")
    assert ["case when" in problem for problem in problems] == [True]


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("select shop, seq + 1 as nxt from live_events where nxt > 3", "no column `nxt`"),
        ("select seq + 1 as nxt, nxt + 1 as more from live_events", "no column `nxt`"),
        ("with t as (select {'seq': seq} as s from live_events) select s.job as n from t",
         "no field `job`"),
        ("select a.* from live_events as b", "no table `a`"),
        ("select shop from live_events as a cross join live_events as b", "`shop` is of several"),
        ("with t as (select a.shop, b.shop from live_events as a cross join live_events as b)"
         " select 1 as n from t", "two columns `shop`"),
        ("with t as (select seq + 1 from live_events) select 1 as n from t", "without a name"),
        ("with t as (select seq from live_events union all select seq, job from live_events)"
         " select seq from t", "1 columns and 2"),
        ("with t as (select shop from live_events)"
         " select * from t inner join live_events using (shop)", "with using"),
    ],
)  # fmt: skip
def test_every_column_is_found(query: str, said: str) -> None:
    """What is no column of what is read cannot be typed, and Spark may not find it."""
    assert any(said in problem for problem in found(query))


def test_the_step_is_named() -> None:
    """A problem says in which step it stands."""
    query = "with few as (select tier + 1 as n from live_events) select 1 as n from few"
    assert "in step `few`" in found(query)[0]


def test_a_relation_that_is_not_there_is_said() -> None:
    """Without its columns nothing could be known of the types."""
    problems = lint("x.sql", HEADER.replace("live_events", "nothing") + "select a from nothing")
    assert ["no relation `nothing`" in str(problem) for problem in problems] == [True]


@pytest.mark.parametrize("name", sql.relations())
def test_every_column_of_every_relation_has_a_type(name: str) -> None:
    """None is unknown, and none has a type of its own in each engine."""
    columns = columns_of(name)
    assert columns
    for column, kind in columns:
        assert kind.name != "unknown", column
        assert not kind.differs, column


def test_the_types_are_those_of_duckdb() -> None:
    """What DuckDB says of every relation's columns is what was worked out."""
    connection = duckdb.connect(":memory:")
    for name, schema in GIVEN.items():
        connection.register(name, schema.empty_table())
    bound = {"as_at": datetime(2026, 1, 1, tzinfo=UTC), "known_seq": 1}
    for name in sql.relations():
        query = sql.compose(name)
        values = {key: value for key, value in bound.items() if f"${key}" in query}
        schema = connection.sql(query, params=values or None).to_arrow_table().schema
        assert columns_of(name) == columns_of_arrow(schema), name


def test_all_that_is_allowed_is_read() -> None:
    """What the lint lists as allowed, the types are known of; and of what an engine gives."""
    assert FUNCTIONS | CLAUSES <= EXPRESSIONS | AROUND
    assert set(GIVEN) == sql.BASE
