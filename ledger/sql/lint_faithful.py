"""What translates without a word and then means something else in Spark: refused by the lint.

Most were seen to differ, or to fail, by running them on both (`tests/engines/test_spark_traps.py`);
the rest is refused until somebody shows that it is alike.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from sqlglot import exp

Found = tuple[str, str]
"""What is wrong, and what would be right."""

_MOMENTS = frozenset({"at", "since"})
_WHOLE = frozenset({"BIGINT", "INT"})
_FIGURES = frozenset({"value", "value_low", "value_high", "limit_value"})
_ORDERING = frozenset({"occurred_at", "started_at", "seq"})


def _shown(node: exp.Expr) -> str:
    return f"`{node.sql(dialect='duckdb')[:60].lower()}`"


def _is_moment(node: exp.Expr) -> bool:
    named = isinstance(node, exp.Column | exp.Dot)
    return named and (node.name in _MOMENTS or node.name.endswith("_at"))


def _steps(tree: exp.Expr) -> Iterator[Found]:
    for chain in tree.find_all(exp.With):
        if chain.parent is not tree:
            yield "a step within a step", "Put each step into the one chain at the top"


def _literals(tree: exp.Expr) -> Iterator[Found]:
    for literal in tree.find_all(exp.Literal):
        if literal.is_string and "\\" in literal.this:
            yield f"{_shown(literal)} with a backslash", "Spark reads it as an escape; do without"
        if not literal.is_string and not literal.this.isdigit():
            yield (
                f"{_shown(literal)}",
                "Write a whole number: a fraction may be of another type in Spark",
            )


def _counts(tree: exp.Expr) -> Iterator[Found]:
    for count in tree.find_all(exp.Count):
        distinct = count.this if isinstance(count.this, exp.Distinct) else None
        if count.expressions or (distinct and len(distinct.expressions) > 1):
            yield f"{_shown(count)} of several", "Spark leaves out rows with a null; group first"


def _extremes(tree: exp.Expr) -> Iterator[Found]:
    """A null is the greatest to DuckDB and the least to Spark: nothing may be decided by one."""
    for extreme in tree.find_all(exp.Max, exp.Min):
        for struct in extreme.this.find_all(exp.Struct):
            names = [part.name for part in struct.expressions]
            first = names[: names.index("seq") + 1] if "seq" in names else names
            if "seq" not in names or not _ORDERING.issuperset(first):
                yield (
                    f"{_shown(extreme)} may be decided by a null",
                    "Begin the struct with occurred_at and seq, or seq: no two are alike in them",
                )


def _windows(tree: exp.Expr) -> Iterator[Found]:
    for window in tree.find_all(exp.Window):
        frame = window.args.get("spec")
        if window.find(exp.Distinct, exp.Filter):
            yield f"{_shown(window)}", "Spark has no distinct and no filter in a window; use case"
        if frame is not None and (frame.args.get("kind") or "").lower() != "rows":
            yield f"{_shown(window)}", "Give the frame in rows: a range counts peers otherwise"
        if window.args.get("order") is None and not isinstance(
            window.this, exp.Max | exp.Min | exp.Sum | exp.Count
        ):
            yield f"{_shown(window)} without an order", "Order by occurred_at and seq"


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
            yield f"{_shown(explode.parent or explode)}", "Take the list apart in a step before"


def _groups(tree: exp.Expr) -> Iterator[Found]:
    for group in tree.find_all(exp.Group):
        if any(value for name, value in group.args.items() if name != "expressions"):
            yield f"{_shown(group)}", "Name the columns to group by"


def _casts(tree: exp.Expr) -> Iterator[Found]:
    for cast in tree.find_all(exp.Cast):
        kind = cast.to.this.name
        columns = list(cast.this.find_all(exp.Column, exp.Dot))
        fractions = any(c.name in _FIGURES or c.name.endswith("_km") for c in columns)
        if kind in _WHOLE and (fractions or cast.this.find(exp.Cast)):
            yield f"{_shown(cast)}", "DuckDB rounds a fraction and Spark cuts it; keep the decimal"
        if kind not in (*_WHOLE, "DECIMAL") and not isinstance(cast.this, exp.Null):
            yield f"{_shown(cast)}", "Text of figures and instants differs; cast outside"


def _moments(tree: exp.Expr) -> Iterator[Found]:
    for sum_of in tree.find_all(exp.Add, exp.Sub):
        if _is_moment(sum_of.left) or _is_moment(sum_of.right):
            yield f"{_shown(sum_of)}", "Give both instants; subtract outside"
    for pair in tree.find_all(exp.EQ, exp.NEQ, exp.LT, exp.LTE, exp.GT, exp.GTE):
        sides = (pair.left, pair.right)
        if any(map(_is_moment, sides)) and any(isinstance(one, exp.Literal) for one in sides):
            yield f"{_shown(pair)}", "Bind the instant as $as_at: text is read in other ways"


def _structs(tree: exp.Expr) -> Iterator[Found]:
    for struct in tree.find_all(exp.Struct):
        if isinstance(struct.parent, exp.EQ | exp.NEQ | exp.LT | exp.LTE | exp.GT | exp.GTE):
            yield f"{_shown(struct.parent)}", "Compare field by field, nulls said"


def _sums(tree: exp.Expr) -> Iterator[Found]:
    """A sum has other types in each engine: what a relation gives has one."""
    for column in tree.selects if isinstance(tree, exp.Select) else ():
        for total in column.find_all(exp.Sum):
            if total.find_ancestor(exp.Cast) is None:
                yield f"{_shown(column)}", "Cast what the relation gives to bigint or decimal"


CHECKS: tuple[Callable[[exp.Expr], Iterator[Found]], ...] = (
    _steps, _literals, _counts, _extremes, _windows, _unions, _lists, _groups, _casts, _moments,
    _structs, _sums,
)  # fmt: skip


def unfaithful(text: str, tree: exp.Expr) -> Iterator[Found]:
    """Give what in a query would be translated and would not mean the same."""
    for check in CHECKS:
        yield from check(tree)
