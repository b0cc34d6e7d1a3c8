"""Hold every relation to the SQL that DuckDB and Spark read alike: `python -m ledger.sql.lint`.

What is allowed is listed, not what is forbidden: a construct that is in no list is refused until
somebody has shown that both engines give the same rows for it.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

import sqlglot
from sqlglot import exp
from sqlglot.errors import SqlglotError

from ledger import sql
from ledger.errors import Problem
from ledger.sql.kinds import Columns
from ledger.sql.lint_faithful import Found, unfaithful
from ledger.sql.typed import mistyped

FUNCTIONS = frozenset(
    {
        *("Case", "If", "Cast", "Coalesce", "Struct", "StartsWith", "And", "Or"),
        *("Count", "Sum", "Min", "Max", "RowNumber", "Lead", "LastValue", "Explode"),
    }
)
"""Functions (by their name in sqlglot) that give the same in both engines, nulls included."""

CLAUSES = frozenset(
    {
        *("Select", "From", "Join", "Where", "Group", "With", "CTE", "Union", "Distinct", "Star"),
        *("Table", "TableAlias", "Alias", "Column", "Identifier", "Literal", "Boolean", "Null"),
        *("Window", "WindowSpec", "Order", "Ordered", "IgnoreNulls", "Placeholder"),
        *("DataType", "DataTypeParam", "PropertyEQ", "Paren", "In", "Is", "Not"),
        *("EQ", "NEQ", "LT", "LTE", "GT", "GTE", "Add", "Sub", "DPipe", "Filter"),
    }
)
"""Everything else that may stand in a relation."""

TYPES = frozenset({"BIGINT", "INT", "VARCHAR", "TEXT", "BOOLEAN", "DECIMAL", "TIMESTAMPTZ"})

TRAPS = {
    "ArrayAgg": "list(x order by y) loses its order in Spark; number the rows with row_number()",
    "DateDiff": "date_diff counts other borders in Spark; give both instants, subtract outside",
    "PercentileCont": "Spark has no quantile_cont; rank the rows instead",
    "ArgMax": "arg_max skips nulls where Spark does not; take max of a struct {when, what}",
    "ArgMin": "arg_min skips nulls where Spark does not; take min of a struct {when, what}",
    "Div": "division rounds decimals differently in Spark; divide outside",
    "Qualify": "Spark has no qualify; filter in the next step of the chain",
}
"""What is known to go wrong, and what to write instead."""


def _unquoted(text: str) -> str:
    code = re.sub(r"--[^\n]*", "", text)
    return re.sub(r"'[^']*'", "''", code)


def _lower_case(text: str, tree: exp.Expr) -> Iterator[Found]:
    shouted = sorted(set(re.findall(r"\b\w*[A-Z]\w*\b", _unquoted(text))))
    if shouted:
        yield f"{', '.join(shouted)} in upper case", "Write SQL in lower case"


def _header(text: str, tree: exp.Expr) -> Iterator[Found]:
    for entry in ("grain", "keys", "uses", "gives"):
        if not re.search(rf"^-- {entry}: \S", text, re.MULTILINE):
            yield f"the header has no `-- {entry}:`", f"Say the {entry} above the query"


def _plain_select(text: str, tree: exp.Expr) -> Iterator[Found]:
    if not isinstance(tree, exp.Select):
        yield "it does not end in a plain select", "Put the union into a step and select from it"
    elif tree.args.get("order") or tree.args.get("limit"):
        yield "it ends in an order or a limit", "Leave them to whoever asks"


def _parameters(text: str, tree: exp.Expr) -> Iterator[Found]:
    for parameter in tree.find_all(exp.Placeholder, exp.Parameter):
        if parameter.name not in sql.PARAMETERS:
            allowed = " and ".join(f"${name}" for name in sorted(sql.PARAMETERS))
            yield f"parameter {parameter.name or '?'!r}", f"Only {allowed} may be bound"


def _tables(text: str, tree: exp.Expr) -> Iterator[Found]:
    steps = {step.alias for step in tree.find_all(exp.CTE)}
    named = {table.name for table in tree.find_all(exp.Table)} - steps - {""}
    said = re.search(r"^-- uses: (.+)$", text, re.MULTILINE)
    uses = {name.strip() for name in said[1].split(",")} if said else set()
    if named != uses:
        yield f"it reads {sorted(named)} but says {sorted(uses)}", "Say in `-- uses:` what it reads"


def _constructs(text: str, tree: exp.Expr) -> Iterator[Found]:
    for node in tree.walk():
        name = type(node).__name__
        if name in FUNCTIONS or name in CLAUSES:
            continue
        shown = node.sql(dialect="duckdb")[:60].lower()
        yield f"`{shown}` ({name})", TRAPS.get(name, "Use what lint.py lists as shown to be alike")


def _details(text: str, tree: exp.Expr) -> Iterator[Found]:
    """Look at what an allowed construct carries with it."""
    for join in tree.find_all(exp.Join):
        if (join.args.get("method") or "").upper() in ("ASOF", "POSITIONAL", "NATURAL"):
            yield (
                f"{join.args['method'].lower()} join",
                "Spark has none; use a window with last_value",
            )
    for order in tree.find_all(exp.Order):
        if not isinstance(order.parent, exp.Window):
            yield "an order that is not of a window", "Number the rows with row_number() instead"
    for star in tree.find_all(exp.Star):
        if any(star.args.get(part) for part in ("except_", "except", "replace", "rename")):
            yield "`*` with exclude or replace", "Name the columns"
    for kind in tree.find_all(exp.DataType):
        if kind.this.name not in TYPES:
            yield f"type {kind.this.name.lower()}", f"Use one of {', '.join(sorted(TYPES)).lower()}"
    for distinct in tree.find_all(exp.Distinct):
        if distinct.args.get("on"):
            yield "distinct on", "Number the rows with row_number() instead"


def _translates(text: str, tree: exp.Expr) -> Iterator[Found]:
    try:
        spark = tree.sql(dialect="spark", unsupported_level=sqlglot.ErrorLevel.RAISE)
        sqlglot.parse_one(spark, read="spark")
    except SqlglotError as error:
        yield f"Spark cannot read it: {error}", "Write it in the portable subset"


CHECKS: tuple[Callable[[str, exp.Expr], Iterator[Found]], ...] = (
    _lower_case,
    _header,
    _plain_select,
    _parameters,
    _tables,
    _constructs,
    _details,
    unfaithful,
    _translates,
)


def lint(name: str, text: str, tables: Mapping[str, Columns] | None = None) -> list[Problem]:
    """Give everything wrong with the text of one relation.

    `tables` are the columns of what it reads that is no relation here and that no engine provides.
    """
    try:
        trees = [tree for tree in sqlglot.parse(text, read="duckdb") if tree is not None]
    except SqlglotError as error:
        return [Problem(name, "sql", f"cannot be read: {error}", "Write one SQL query")]
    if len(trees) != 1:
        return [Problem(name, "sql", f"{len(trees)} statements", "Write one SQL query")]
    problems = [
        Problem(name, check.__name__.strip("_"), *found)
        for check in CHECKS
        for found in dict.fromkeys(check(text, trees[0]))
    ]
    by_type = dict.fromkeys(mistyped(trees[0], tables or {}))
    return [*problems, *(Problem(name, "types", *found) for found in by_type)]


def lint_folder(folder: Path) -> list[Problem]:
    """Give everything wrong with the relations of a folder."""
    paths = sorted(folder.glob("*.sql"))
    return [found for path in paths for found in lint(path.name, path.read_text("utf-8"))]


def main() -> int:
    """Print what is wrong with this package's relations; 1 if anything is."""
    problems = lint_folder(sql.FOLDER)
    for problem in problems:
        print(problem)
    print(f"{len(sql.relations())} relations, {len(problems)} problems.")
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())
