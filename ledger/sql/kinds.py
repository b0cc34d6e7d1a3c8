"""The types that a relation's expressions have, as DuckDB and Spark have them.

Where each engine gives an expression another type, with the same values (a sum, a row number,
whole numbers beside figures), its kind says so: it may be used, and has to be cast when given.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import pyarrow as pa


@dataclass(frozen=True, slots=True)
class Kind:
    """One type."""

    name: str
    digits: int = 0
    """Of a decimal, with `scale` of them behind the point."""
    scale: int = 0
    is_own: bool = False
    """Each engine has a type of its own for it."""
    parts: tuple[tuple[str, Kind], ...] = ()
    """The fields of a struct; the elements of a list as one."""

    @property
    def is_whole(self) -> bool:
        """Whether it is an integer."""
        return self.name in WHOLE

    @property
    def is_number(self) -> bool:
        """Whether it is an integer or a decimal."""
        return self.name in WHOLE or self.name == "decimal"

    @property
    def is_open(self) -> bool:
        """Whether it fits beside anything: a null, or what was refused already."""
        return self.name in ("null", "unknown")

    @property
    def is_made_of_parts(self) -> bool:
        """Whether it is a struct or a list."""
        return self.name in ("struct", "list")

    @property
    def differs(self) -> bool:
        """Whether it, or a part of it, has another type in each engine."""
        return self.is_own or any(part.differs for _, part in self.parts)

    def __str__(self) -> str:
        """Give it as a sentence has it: `text`, `a bigint`."""
        if self.name in ("text", "null", "unknown"):
            return self.name
        return f"an {self.name}" if self.name == "int" else f"a {self.name}"


Columns = tuple[tuple[str, Kind], ...]
"""The columns of a table, in order."""

WHOLE = {"smallint": 5, "int": 10, "bigint": 20}
"""Integers, the narrower first, and how many digits Spark gives each as a decimal."""
UNKNOWN = Kind("unknown")
NULL = Kind("null")
TEXT = Kind("text")
BOOLEAN = Kind("boolean")
BIGINT = Kind("bigint")
MOMENT = Kind("timestamptz")


def struct(parts: Columns) -> Kind:
    """Give the kind of a struct of these fields."""
    return Kind("struct", parts=parts)


def of_arrow(kind: pa.DataType) -> Kind:
    """Give the kind of a declared type; raises KeyError for one that no file has."""
    if pa.types.is_decimal(kind):
        return Kind("decimal", kind.precision, kind.scale)
    if pa.types.is_list(kind):
        return Kind("list", parts=(("element", of_arrow(kind.value_type)),))
    if pa.types.is_struct(kind):
        return struct(tuple((part.name, of_arrow(part.type)) for part in kind))
    if pa.types.is_fixed_size_binary(kind) or pa.types.is_binary(kind):
        return Kind("blob")
    if pa.types.is_timestamp(kind):
        return MOMENT
    names = {pa.string(): "text", pa.bool_(): "boolean"}
    names |= {pa.int16(): "smallint", pa.int32(): "int", pa.int64(): "bigint"}
    return Kind(names[kind])


def columns_of_arrow(schema: pa.Schema) -> Columns:
    """Give the columns of a table with this schema."""
    return tuple((field.name, of_arrow(field.type)) for field in schema)


def own(kind: Kind) -> Kind:
    """Give this kind as one that each engine has its own type for."""
    return kind if kind.is_open else replace(kind, is_own=True)


def merged(one: Kind, other: Kind) -> Kind | None:
    """Give what both together are, as in a `case` or a union; None where they are not alike."""
    if one.is_open or other.is_open:
        return other if one.is_open else one
    if one.is_number and other.is_number:
        return _number(one, other)
    if one.name != other.name:
        return None
    if [name for name, _ in one.parts] != [name for name, _ in other.parts]:
        return None
    parts = []
    for (name, left), (_, right) in zip(one.parts, other.parts, strict=True):
        both = merged(left, right)
        if both is None:
            return None
        parts.append((name, both))
    return replace(one, parts=tuple(parts))


def _number(one: Kind, other: Kind) -> Kind:
    is_own = one.is_own or other.is_own
    if one.is_whole and other.is_whole:
        wider = max(one, other, key=lambda kind: WHOLE[kind.name])
        # A small literal leaves a smallint as it is in DuckDB, and makes it an int in Spark.
        uneven = one.name != other.name and "smallint" in (one.name, other.name)
        return replace(wider, is_own=is_own or uneven)
    if one.is_whole or other.is_whole:
        whole, figure = (one, other) if one.is_whole else (other, one)
        fits = figure.digits - figure.scale >= WHOLE[whole.name]
        return replace(figure, is_own=is_own or not fits)
    scale = max(one.scale, other.scale)
    digits = max(one.digits - one.scale, other.digits - other.scale) + scale
    return Kind("decimal", digits, scale, is_own or digits > 38)
