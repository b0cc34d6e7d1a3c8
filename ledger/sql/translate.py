"""The same relations as Spark reads them: translated by sqlglot, their steps by their whole names.

Spark's SQL knows one flat list of steps where DuckDB nests them, and sqlglot lifts nested steps
without a look at their names: two relations with a step `marks` would clash, and a step that is
called as a relation would take its place. So each step goes by `<relation>__<step>`.

sqlglot comes with the optional extra `spark`.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

import sqlglot
from sqlglot import exp

from ledger import sql

Step = tuple[str, exp.Expr]
"""A step's name, and its query."""


def _rename(query: exp.Expr, names: dict[str, str]) -> exp.Expr:
    """Give a query that reads steps by their whole names, and calls them as it did."""
    for table in query.find_all(exp.Table):
        if table.name in names and not table.db:
            called = table.alias or table.name
            table.set("this", exp.to_identifier(names[table.name]))
            table.set("alias", exp.TableAlias(this=exp.to_identifier(called)))
    return query


def _steps(name: str) -> Iterator[Step]:
    """Give the steps of one relation and then itself, each after what it reads."""
    tree = sqlglot.parse_one(sql.body(name), read="duckdb")
    steps = tree.args.pop("with_", None)
    names: dict[str, str] = {}
    for step in steps.expressions if steps else ():
        yield f"{name}__{step.alias}", _rename(step.this, names)
        names[step.alias] = f"{name}__{step.alias}"
    yield name, _rename(tree, names)


@cache
def to_spark(name: str, ending: str = "") -> str:
    """Give one Spark query for a relation, with every relation it uses.

    `ending` as of `sql.compose`. Parameters are `:as_at` and `:known_seq`. Raises KeyError where
    there is no such relation, and sqlglot's UnsupportedError where Spark has no such thing.
    """
    query = sqlglot.parse_one(f"select * from {name} {ending}", read="duckdb")
    steps = [step for used in sql.needed(name) for step in _steps(used)]
    ctes = [
        exp.CTE(this=made, alias=exp.TableAlias(this=exp.to_identifier(called)))
        for called, made in steps
    ]
    query.set("with_", exp.With(expressions=ctes))
    return query.sql(dialect="spark", unsupported_level=sqlglot.ErrorLevel.RAISE)
