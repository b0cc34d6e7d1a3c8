"""The types of a relation's expressions, and what the lint refuses because of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from sqlglot import exp

from ledger.sql.kinds import (
    BIGINT,
    BOOLEAN,
    MOMENT,
    NULL,
    TEXT,
    UNKNOWN,
    Columns,
    Kind,
    merged,
    own,
    struct,
)
from ledger.sql.lint_faithful import Found, shown

Scope = Mapping[str, Columns | None]
"""What a select reads, by what it is called there; None where its columns are not known."""

_PARAMETERS = {"as_at": MOMENT, "known_seq": BIGINT}
_ORDERING = {"occurred_at": "timestamptz", "started_at": "timestamptz", "seq": "bigint"}
_BY_FIELDS = "Spark and DuckDB order its nulls differently: name its fields instead"


class Expressions:
    """Gives the types of expressions; keeps what it found wrong with them."""

    def __init__(self) -> None:
        self.found: list[Found] = []
        self.step = ""

    def say(self, what: str, instead: str) -> Kind:
        """Keep a problem; what it is of has no type that could be another problem."""
        where = f"in step `{self.step}`: " if self.step else ""
        self.found.append((f"{where}{what}", instead))
        return UNKNOWN

    def condition(self, node: exp.Expr | None, scope: Scope) -> None:
        """Look at what has to be true or false."""
        if node is None:
            return
        node = node.this if isinstance(node, exp.Where) else node
        kind = self.kind(node, scope)
        if not kind.is_open and kind != BOOLEAN:
            self.say(f"{shown(node)} is no condition", "Write a comparison: Spark takes no other")

    def kind(self, node: exp.Expr | None, scope: Scope) -> Kind:
        """Give the type of an expression."""
        read = _READ.get(type(node).__name__)
        # What is in no list there is refused by the lint's own lists.
        return read(self, node, scope) if read and node is not None else UNKNOWN

    def kinds(self, nodes: Iterable[exp.Expr], scope: Scope) -> list[Kind]:
        """Give the types of expressions."""
        return [self.kind(node, scope) for node in nodes]

    def by_value(self, named: exp.Expr, kind: Kind) -> None:
        """Look at what rows are told apart or ordered by."""
        if kind.is_made_of_parts:
            self.say(f"{shown(named)} groups or orders by {kind}", _BY_FIELDS)

    def each_by_value(self, nodes: Iterable[exp.Expr], scope: Scope) -> None:
        """Look at each of what rows are told apart or ordered by."""
        for node in nodes:
            self.by_value(node, self.kind(node, scope))

    def all_alike(self, named: str, kinds: Iterable[Kind]) -> Kind:
        """Give the one type of what stands side by side, by its types."""
        so_far = NULL
        for kind in kinds:
            both = merged(so_far, kind)
            if both is None:
                return self._mixed(named, so_far, kind)
            so_far = both
        return so_far

    def _mixed(self, named: str, one: Kind, other: Kind) -> Kind:
        if MOMENT in (one, other):
            what = "Bind the instant as $as_at: text is read in other ways"
        elif one.is_made_of_parts or other.is_made_of_parts:
            what = "Give structs of the same fields"
        else:
            what = "Give both of one type: each engine turns one into the other in its own way"
        return self.say(f"{named} has {one} beside {other}", what)

    def alike(self, node: exp.Expr, nodes: Iterable[exp.Expr | None], scope: Scope) -> Kind:
        """Give the one type of what stands side by side."""
        there = [one for one in nodes if one is not None]
        return self.all_alike(shown(node), self.kinds(there, scope))

    def column(self, node: exp.Column, scope: Scope) -> Kind:
        """Give the type of a column, or of a field of one that is a struct."""
        parts = [part.name for part in node.parts]
        if len(parts) > 1 and parts[0] in scope:
            columns = scope[parts[0]]
            there = [] if columns is None else [k for n, k in columns if n == parts[1]]
            known, rest = columns is not None, parts[2:]
        else:
            there = [k for some in scope.values() for n, k in some or () if n == parts[0]]
            known, rest = None not in scope.values(), parts[1:]
        if len(there) > 1:
            return self.say(f"{shown(node)} is of several", "Say of which table it is")
        if not there:
            instead = "Name what is read; an alias holds from the next step on"
            return self.say(f"there is no column {shown(node)}", instead) if known else UNKNOWN
        kind = there[0]
        for name in rest:
            kind = self.field(node, kind, name)
        return kind

    def field(self, node: exp.Expr, kind: Kind, name: str) -> Kind:
        """Give the type of one field of a struct."""
        if kind.name == "struct" and name in dict(kind.parts):
            return dict(kind.parts)[name]
        if kind.is_open:
            return UNKNOWN
        return self.say(f"there is no field `{name}` in {shown(node)}", "Name a field it has")


def _case(at: Expressions, node: exp.Case, scope: Scope) -> Kind:
    ifs = node.args["ifs"]
    if node.this is None:
        for one in ifs:
            at.condition(one.this, scope)
    else:
        _compared(at, node, [node.this, *(one.this for one in ifs)], scope)
    return at.alike(node, [*(one.args["true"] for one in ifs), node.args.get("default")], scope)


def _if(at: Expressions, node: exp.If, scope: Scope) -> Kind:
    at.condition(node.this, scope)
    return at.alike(node, [node.args.get("true"), node.args.get("false")], scope)


def _compared(at: Expressions, node: exp.Expr, nodes: Iterable[exp.Expr], scope: Scope) -> Kind:
    kind = at.alike(node, nodes, scope)
    if kind.is_made_of_parts:
        at.say(f"{shown(node)} compares {kind} whole", "Compare field by field, nulls said")
    return BOOLEAN


def _is(at: Expressions, node: exp.Is, scope: Scope) -> Kind:
    at.alike(node, [node.this, node.expression], scope)
    return BOOLEAN


def _logic(at: Expressions, node: exp.Expr, scope: Scope) -> Kind:
    for part in (node.this, node.args.get("expression")):
        at.condition(part, scope)
    return BOOLEAN


def _sum_of_two(at: Expressions, node: exp.Binary, scope: Scope) -> Kind:
    kinds = at.kinds([node.left, node.right], scope)
    if MOMENT in kinds:
        return at.say(shown(node), "Give both instants; subtract outside")
    wrong = next((kind for kind in kinds if not kind.is_open and not kind.is_number), None)
    if wrong is not None:
        return at.say(f"{shown(node)} is of {wrong}", "Add numbers only")
    kind = merged(*kinds) or UNKNOWN
    return own(kind) if kind.name == "decimal" else kind


def _text(at: Expressions, node: exp.Expr, scope: Scope) -> Kind:
    kinds = at.kinds([node.this, node.expression], scope)
    wrong = next((kind for kind in kinds if not kind.is_open and kind != TEXT), None)
    joins = isinstance(node, exp.DPipe)
    if wrong is not None:
        said = f"{shown(node)} {'joins text with' if joins else 'is of text and'} {wrong}"
        at.say(said, "Use text only: figures and instants are written in other ways")
    return TEXT if joins else BOOLEAN


def _cast(at: Expressions, node: exp.Cast, scope: Scope) -> Kind:
    kind, to = at.kind(node.this, scope), _to(node.to)
    if kind.is_open or (kind.is_number and to.name == "decimal"):
        return to
    if to.is_whole and kind.name == "decimal":
        at.say(shown(node), "DuckDB rounds a fraction and Spark cuts it; keep the decimal")
    elif not to.is_whole or not (kind.is_whole or kind == BOOLEAN):
        at.say(f"{shown(node)} of {kind}", "Text of figures and instants differs; cast outside")
    return to


def _to(kind: exp.DataType) -> Kind:
    name = kind.this.name.lower()
    if name == "decimal":
        digits = [int(part.name) for part in kind.expressions] or [18, 3]
        return Kind("decimal", digits[0], digits[1] if len(digits) > 1 else 0)
    return TEXT if name == "varchar" else Kind(name)


def _literal(at: Expressions, node: exp.Literal, scope: Scope) -> Kind:
    if node.is_string:
        return TEXT
    if not node.this.isdigit():
        return UNKNOWN
    if int(node.this) >= 2**63:
        return at.say(f"{shown(node)} is too large for bigint", "Write a smaller number")
    return Kind("bigint" if int(node.this) >= 2**31 else "int")


def _struct(at: Expressions, node: exp.Struct, scope: Scope) -> Kind:
    fields = node.expressions
    return struct(tuple((part.name, at.kind(part.expression, scope)) for part in fields))


def _extreme(at: Expressions, node: exp.Expr, scope: Scope) -> Kind:
    """A null is the greatest to DuckDB and the least to Spark: nothing may be decided by one."""
    inner = node.this.expressions[0] if isinstance(node.this, exp.Distinct) else node.this
    kind = at.kind(inner, scope)
    names = [name for name, _ in kind.parts]
    first = kind.parts[: names.index("seq") + 1] if "seq" in names else ()
    sure = bool(first) and all(_ORDERING.get(name) == part.name for name, part in first)
    if kind.is_made_of_parts and not sure:
        at.say(
            f"{shown(node)} may be decided by a null",
            "Begin the struct with occurred_at and seq, or seq: no two are alike in them",
        )
    return kind


def _sum(at: Expressions, node: exp.Sum, scope: Scope) -> Kind:
    inner = node.this.expressions[0] if isinstance(node.this, exp.Distinct) else node.this
    kind = at.kind(inner, scope)
    if not kind.is_open and not kind.is_number:
        instead = "Sum numbers: `case when ... then 1 else 0 end` counts what holds"
        return at.say(f"{shown(node)} is of {kind}", instead)
    return own(kind)


def _count(at: Expressions, node: exp.Count, scope: Scope) -> Kind:
    if isinstance(node.this, exp.Distinct):
        at.each_by_value(node.this.expressions, scope)
    else:
        at.kind(node.this, scope)
    return BIGINT


def _window(at: Expressions, node: exp.Window, scope: Scope) -> Kind:
    order = node.args.get("order")
    by = [one.this for one in order.expressions] if order else []
    at.each_by_value([*(node.args.get("partition_by") or []), *by], scope)
    return at.kind(node.this, scope)


def _filter(at: Expressions, node: exp.Filter, scope: Scope) -> Kind:
    at.condition(node.expression, scope)
    return at.kind(node.this, scope)


def _lead(at: Expressions, node: exp.Lead, scope: Scope) -> Kind:
    return at.alike(node, [node.this, node.args.get("default")], scope)


def _explode(at: Expressions, node: exp.Expr, scope: Scope) -> Kind:
    kind = at.kind(node.this, scope)
    if not kind.is_open and kind.name != "list":
        return at.say(f"{shown(node)} is of {kind}", "Take lists apart only")
    return kind.parts[0][1] if kind.parts else UNKNOWN


def _dot(at: Expressions, node: exp.Dot, scope: Scope) -> Kind:
    return at.field(node, at.kind(node.this, scope), node.name)


def _within(at: Expressions, node: exp.Expr, scope: Scope) -> Kind:
    return at.kind(node.this, scope)


_Read = Callable[[Expressions, Any, Scope], Kind]
_READ: dict[str, _Read] = {
    **dict.fromkeys(("Paren", "Alias", "IgnoreNulls", "LastValue"), _within),
    **dict.fromkeys(("And", "Or", "Not"), _logic),
    **dict.fromkeys(("Add", "Sub"), _sum_of_two),
    **dict.fromkeys(("DPipe", "StartsWith"), _text),
    **dict.fromkeys(("Max", "Min"), _extreme),
    **dict.fromkeys(
        ("EQ", "NEQ", "LT", "LTE", "GT", "GTE"),
        lambda at, node, scope: _compared(at, node, [node.left, node.right], scope),
    ),
    "In": lambda at, node, scope: _compared(at, node, [node.this, *node.expressions], scope),
    "Column": Expressions.column,
    "Coalesce": lambda at, node, scope: at.alike(node, [node.this, *node.expressions], scope),
    "Boolean": lambda at, node, scope: BOOLEAN,
    "Null": lambda at, node, scope: NULL,
    "Placeholder": lambda at, node, scope: _PARAMETERS.get(node.name, UNKNOWN),
    "RowNumber": lambda at, node, scope: own(BIGINT),
    "Case": _case,
    "If": _if,
    "Is": _is,
    "Cast": _cast,
    "Literal": _literal,
    "Struct": _struct,
    "Sum": _sum,
    "Count": _count,
    "Window": _window,
    "Filter": _filter,
    "Lead": _lead,
    "Explode": _explode,
    "Unnest": _explode,
    "Dot": _dot,
}
"""By the name of the construct in sqlglot: what gives its type."""

EXPRESSIONS = frozenset(_READ)
"""Constructs that have a type."""
