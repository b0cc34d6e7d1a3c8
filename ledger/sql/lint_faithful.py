"""What translates without a word and then means something else in Spark: refused by the lint.

Most were seen to differ, or to fail, by running them on both (`tests/engines/test_spark_traps.py`);
the rest is refused until somebody shows that it is alike. What follows from types is in `typed.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from sqlglot import exp

Found = tuple[str, str]
"""What is wrong, and what would be right."""


def shown(node: exp.Expr) -> str:
    """Give the start of an expression as it is written."""
    return f"`{node.sql(dialect='duckdb')[:60].lower()}`"


def _steps(tree: exp.Expr) -> Iterator[Found]:
    for chain in tree.find_all(exp.With):
        if chain.parent is not tree:
            yield "a step within a step", "Put each step into the one chain at the top"
        if chain.args.get("recursive"):
            yield "a recursive step", "Spark has none; number or mark the rows with a window"


def _aliases(tree: exp.Expr) -> Iterator[Found]:
    for alias in tree.find_all(exp.TableAlias):
        if alias.columns:
            yield f"{shown(alias)}", "Name the columns in the select: this list would be left out"


def _literals(tree: exp.Expr) -> Iterator[Found]:
    for literal in tree.find_all(exp.Literal):
        if literal.is_string and "\\" in literal.this:
            yield f"{shown(literal)} with a backslash", "Spark reads it as an escape; do without"
        if not literal.is_string and not literal.this.isdigit():
            yield (
                f"{shown(literal)}",
                "Write a whole number: a fraction may be of another type in Spark",
            )


def _counts(tree: exp.Expr) -> Iterator[Found]:
    for count in tree.find_all(exp.Count):
        distinct = count.this if isinstance(count.this, exp.Distinct) else None
        if count.expressions or (distinct and len(distinct.expressions) > 1):
            yield f"{shown(count)} of several", "Spark leaves out rows with a null; group first"
        if count.this is None:
            yield f"{shown(count)} of nothing", "Write count(*)"


def _windows(tree: exp.Expr) -> Iterator[Found]:
    for select in tree.find_all(exp.Select):
        if select.args.get("windows"):
            yield "a named window", "Write it out in each `over (...)`"
    for window in tree.find_all(exp.Window):
        frame = window.args.get("spec")
        if window.find(exp.Distinct, exp.Filter):
            yield f"{shown(window)}", "Spark has no distinct and no filter in a window; use case"
        if frame is not None and (frame.args.get("kind") or "").lower() != "rows":
            yield f"{shown(window)}", "Give the frame in rows: a range counts peers otherwise"
        if window.args.get("order") is None and not isinstance(
            window.this, exp.Max | exp.Min | exp.Sum | exp.Count
        ):
            yield f"{shown(window)} without an order", "Order by occurred_at and seq"


def _unions(tree: exp.Expr) -> Iterator[Found]:
    for union in tree.find_all(exp.SetOperation):
        if union.args.get("by_name"):
            yield "union by name", "Name the columns of both in one order"


def _lists(tree: exp.Expr) -> Iterator[Found]:
    for select in tree.find_all(exp.Select):
        taken = [
            column
            for column in select.expressions
            if isinstance(column.unalias(), exp.Explode | exp.Unnest)
        ]
        if len(taken) > 1:
            yield "two lists taken apart at once", "Take one apart in a step of its own"
    for explode in tree.find_all(exp.Explode, exp.Unnest):
        if not isinstance(explode.parent, exp.Alias | exp.Select) or explode.expressions:
            yield f"{shown(explode.parent or explode)}", "Take the list apart in a step before"


def _groups(tree: exp.Expr) -> Iterator[Found]:
    for group in tree.find_all(exp.Group):
        if any(value for name, value in group.args.items() if name != "expressions"):
            yield f"{shown(group)}", "Name the columns to group by"


CHECKS: tuple[Callable[[exp.Expr], Iterator[Found]], ...] = (
    _steps, _aliases, _literals, _counts, _windows, _unions, _lists, _groups,
)  # fmt: skip


def unfaithful(text: str, tree: exp.Expr) -> Iterator[Found]:
    """Give what in a query would be translated and would not mean the same."""
    for check in CHECKS:
        yield from check(tree)
