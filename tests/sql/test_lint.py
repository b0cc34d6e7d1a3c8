"""The lint catches each construct that DuckDB and Spark do not read alike."""

from __future__ import annotations

from pathlib import Path

import pytest
import sqlglot

from ledger import sql
from ledger.sql.lint import lint, lint_folder, main

HEADER = """-- grain: one event
-- keys: seq
-- uses: events
-- gives: what it says
"""


def found(query: str, header: str = HEADER) -> str:
    """Give everything the lint says about a query."""
    return "\n".join(str(problem) for problem in lint("trial.sql", header + query))


def test_a_portable_relation_passes() -> None:
    """A CTE chain with bound parameters that ends in a plain select has no problem."""
    query = "with few as (select seq from events where seq <= $known_seq)\nselect seq from few"
    assert found(query) == ""


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("select list(seq order by seq) as all_seq from events", "list(x order by y) loses"),
        ("select date_diff('day', occurred_at, recorded_at) as d from events", "date_diff counts"),
        ("select quantile_cont(value, 0.5) as middle from events", "no quantile_cont"),
        ("select arg_max(rider, seq) as rider from events", "arg_max skips nulls"),
        ("select value / 2 as half from events", "division rounds"),
        ("select seq from events qualify row_number() over (order by seq) = 1", "no qualify"),
        ("select epoch_us(occurred_at) as micros from events", "epoch_us"),
        ("select row(seq, bike) as pair from events", "row(seq, bike)"),
        ("select now() as today", "now()"),
        ("select median(value) as middle from events", "median"),
        ("select * exclude (seq) from events", "exclude or replace"),
        ("select distinct on (bike) bike, seq from events", "distinct on"),
        ("select cast(value as double) as value from events", "type double"),
        ("select bike from events where bike ilike 'a%'", "ilike"),
        ("select bike from events using sample 10", "tablesample"),
        ("select bike from read_parquet('x.parquet')", "read_parquet"),
    ],
)
def test_what_is_not_in_the_portable_subset_is_refused(query: str, said: str) -> None:
    """Each trap is named, whether it is known or merely not listed."""
    assert said in found(query)


def test_an_asof_join_is_refused() -> None:
    """Spark has no asof join."""
    query = (
        "select a.seq from events as a asof join events as b "
        "on a.bike = b.bike and a.occurred_at >= b.occurred_at"
    )
    assert "asof join" in found(query)


def test_upper_case_is_refused_outside_text_and_comments() -> None:
    """Keywords and names are lower case; quoted text and comments may be anything."""
    assert "SELECT in upper case" in found("SELECT seq from events")
    assert found("-- Known To The Shop\nselect 'N·m' as unit, seq from events") == ""


def test_a_relation_without_its_header_is_refused() -> None:
    """Grain, keys, what it uses and what it gives have to be said."""
    said = found("select seq from events", header="-- grain: one event\n")
    for entry in ("keys", "uses", "gives"):
        assert f"no `-- {entry}:`" in said


def test_a_relation_that_reads_more_than_it_says_is_refused() -> None:
    """Every table named has to be declared, or composing would leave it out."""
    assert "it reads ['live_events']" in found("select seq from live_events")


def test_only_the_two_parameters_may_be_bound() -> None:
    """A relation depends on the instant and the seq asked for, and on nothing else."""
    assert "parameter 'rider'" in found("select seq from events where rider = $rider")
    assert "Only $as_at and $known_seq" in found("select seq from events where rider = ?")


@pytest.mark.parametrize(
    "query",
    [
        "select seq from events union all select seq from events",
        "select seq from events order by seq",
        "select seq from events limit 3",
    ],
)
def test_a_relation_ends_in_a_plain_select(query: str) -> None:
    """A union, an order or a limit at the end is refused."""
    assert "it ends in" in found(query) or "it does not end" in found(query)


def test_two_statements_or_none_are_refused() -> None:
    """A file holds one query, and one that can be read."""
    assert "2 statements" in found("select seq from events; select 1 as one")
    assert "cannot be read" in found("select from where")


def test_every_relation_is_portable(capsys: pytest.CaptureFixture[str]) -> None:
    """The relations of this package have no problem, and the command says so."""
    assert [str(problem) for problem in lint_folder(sql.FOLDER)] == []
    assert main() == 0
    assert f"{len(sql.relations())} relations, 0 problems." in capsys.readouterr().out


def test_a_folder_with_a_bad_relation_is_named(tmp_path: Path) -> None:
    """Problems name the file they stand in."""
    (tmp_path / "shouting.sql").write_text(HEADER + "SELECT seq from events", encoding="utf-8")
    assert [problem.event for problem in lint_folder(tmp_path)] == ["shouting.sql"]


@pytest.mark.parametrize("name", sql.relations())
def test_every_composed_relation_translates_to_spark(name: str) -> None:
    """The whole query with all it uses is one statement of Spark SQL with the same parameters."""
    query = sql.compose(name)
    spark = sqlglot.transpile(query, read="duckdb", write="spark")
    assert len(spark) == 1
    again = sqlglot.parse_one(spark[0], read="spark")
    assert not list(again.find_all(sqlglot.exp.Anonymous))
    bound = {node.name for node in again.find_all(sqlglot.exp.Placeholder)}
    assert bound == {name for name in sql.PARAMETERS if f"${name}" in query}
    steps = {step.alias for step in again.find_all(sqlglot.exp.CTE)}
    assert {table.name for table in again.find_all(sqlglot.exp.Table)} - steps <= sql.BASE


def test_a_list_taken_apart_is_exploded_in_spark() -> None:
    """Rows of a list's elements: neither engine gives a row for an empty list or for none."""
    tree = sqlglot.parse_one("select seq, unnest(lines) as line from events", read="duckdb")
    assert tree.sql(dialect="spark") == "SELECT seq, EXPLODE(lines) AS line FROM events"
