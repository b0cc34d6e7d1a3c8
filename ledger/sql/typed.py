"""The columns of every relation with their types, and what the lint refuses because of them.

A column goes by many names on its way through the steps: what it is called tells nothing. So each
query is read from the declared columns of what it reads. Only what `lint.py` allows is known here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cache

import sqlglot
from sqlglot import exp
from sqlglot.errors import SqlglotError

from ledger import sql
from ledger.sql.expressions import Expressions, Scope
from ledger.sql.given import GIVEN
from ledger.sql.kinds import Columns, Kind, columns_of_arrow
from ledger.sql.lint_faithful import Found, shown

_CAST = "Cast what the relation gives"
AROUND = frozenset(
    {
        *("Select", "From", "Join", "Where", "Group", "With", "CTE", "Union", "Distinct", "Star"),
        *("Table", "TableAlias", "Identifier", "WindowSpec", "Order", "Ordered"),
        *("DataType", "DataTypeParam", "PropertyEQ"),
    }
)
"""Constructs that stand around expressions."""


class _Query(Expressions):
    """Reads one query from top to bottom."""

    def __init__(self, tables: Mapping[str, Columns | None]) -> None:
        super().__init__()
        self.tables = dict(tables)

    def whole(self, tree: exp.Expr) -> Columns:
        """Give the columns of a relation's query."""
        chain = tree.args.get("with_")
        for step in chain.expressions if chain else ():
            self.step = step.alias
            self.tables[step.alias] = self.rows(step.this)
        self.step = ""
        columns = self.rows(tree)
        for name, kind in columns:
            if kind.differs:
                self.say(f"`{name}` has another type in Spark", f"{_CAST} to bigint or decimal")
            elif kind.name == "null":
                self.say(f"`{name}` is null and of no type", f"{_CAST} to its type")
        return columns

    def rows(self, query: exp.Expr) -> Columns:
        """Give the columns of a select or a union."""
        if isinstance(query, exp.Union):
            return self._union(query)
        if not isinstance(query, exp.Select):
            return ()
        columns = self._select(query)
        names = [name for name, _ in columns]
        for name in dict.fromkeys(name for name in names if names.count(name) > 1):
            self.say(f"two columns `{name}`", "Give each a name of its own")
        if query.args.get("distinct"):
            self._told_apart(columns)
        return columns

    def _told_apart(self, columns: Columns) -> None:
        for name, kind in columns:
            self.by_value(exp.column(name), kind)

    def _union(self, union: exp.Union) -> Columns:
        left, right = self.rows(union.left), self.rows(union.right)
        if len(left) != len(right):
            self.say(f"a union of {len(left)} columns and {len(right)}", "Give as many in both")
            return left
        if union.args.get("distinct"):
            self._told_apart(left)
        both = ((name, kind, other) for (name, kind), (_, other) in zip(left, right, strict=True))
        return tuple(
            (name, self.all_alike(f"column `{name}` of the union", (kind, other)))
            for name, kind, other in both
        )

    def _select(self, query: exp.Select) -> Columns:
        scope: dict[str, Columns | None] = {}
        joins = query.args.get("joins") or []
        first = query.args.get("from_")
        for source in [first, *joins] if first else joins:
            scope[source.this.alias_or_name] = self._table(source.this)
        for join in joins:
            if join.args.get("using"):
                self.say("a join with using", "Write `on`: its columns come in another order")
            self.condition(join.args.get("on"), scope)
            if join.kind in ("SEMI", "ANTI"):
                scope.pop(join.this.alias_or_name)
        self.condition(query.args.get("where"), scope)
        columns = tuple(self._columns(query.expressions, scope))
        if group := query.args.get("group"):
            self.each_by_value(group.expressions, scope)
        return columns

    def _table(self, table: exp.Expr) -> Columns | None:
        if not isinstance(table, exp.Table):
            return None
        if table.name not in self.tables:
            self.say(f"there is no relation `{table.name}`", "Read what is there")
        return self.tables.get(table.name)

    def _columns(self, selected: Iterable[exp.Expr], scope: Scope) -> Iterator[tuple[str, Kind]]:
        for one in selected:
            if isinstance(one, exp.Star) or (isinstance(one, exp.Column) and one.name == "*"):
                called = one.text("table") if isinstance(one, exp.Column) else ""
                if called and called not in scope:
                    self.say(f"there is no table `{called}`", "Name one that is read, or fields")
                for name, columns in scope.items():
                    if called in ("", name):
                        yield from columns or ()
                continue
            kind = self.kind(one, scope)
            if not one.output_name:
                self.say(f"{shown(one)} without a name", "Name it: each engine calls it otherwise")
            yield one.output_name, kind


@cache
def columns_of(name: str) -> Columns:
    """Give the columns of a relation; KeyError where there is none, ValueError in a circle."""
    if name in GIVEN:
        return columns_of_arrow(GIVEN[name])
    sql.needed(name)
    query = _Query({used: columns_of(used) for used in sql.relation(name).uses})
    return query.whole(sqlglot.parse_one(sql.body(name), read="duckdb"))


def mistyped(tree: exp.Expr, tables: Mapping[str, Columns]) -> Iterator[Found]:
    """Give what would have another type, or other rows, in Spark because of its types.

    `tables` are those that are no relation and that no engine provides.
    """
    known: dict[str, Columns | None] = dict(tables)
    for name in {table.name for table in tree.find_all(exp.Table)} - set(known):
        try:
            known[name] = columns_of(name)
        except KeyError:
            continue
        except ValueError as error:
            yield str(error), "Let one of them do without the other"
            known[name] = None
        except SqlglotError:
            known[name] = None
    if any(chain.args.get("recursive") for chain in tree.find_all(exp.With)):
        return
    query = _Query(known)
    query.whole(tree)
    yield from query.found
