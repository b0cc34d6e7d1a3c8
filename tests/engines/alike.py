"""Holds two engines' answers to one another: the columns, their types, and every row."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pyarrow as pa
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from ledger import sql


def _plain(kind: pa.DataType) -> pa.DataType:
    """Give a type without what engines call differently and readers do not see."""
    if pa.types.is_list(kind):
        return pa.list_(pa.field("element", _plain(kind.value_type)))
    if pa.types.is_struct(kind):
        return pa.struct([pa.field(part.name, _plain(part.type)) for part in kind])
    return kind


def _ordered(table: pa.Table, keys: Sequence[str]) -> list[dict[str, Any]]:
    def place(row: dict[str, Any]) -> list[tuple[bool, Any]]:
        return [(row[key] is None, row[key]) for key in keys]

    return sorted(table.to_pylist(), key=lambda row: [(n, "" if n else v) for n, v in place(row)])


def differences(relation: str, one: pa.Table, other: pa.Table) -> list[str]:
    """Give where two answers for a relation differ, row by row by its declared keys."""
    told = [
        {field.name: str(_plain(field.type)) for field in table.schema} for table in (one, other)
    ]
    if list(told[0].items()) != list(told[1].items()):
        return [f"{relation}: columns {told[0]} and {told[1]}"]
    if len(one) != len(other):
        return [f"{relation}: {len(one)} rows and {len(other)}"]
    keys = sql.relation(relation).keys
    pairs = zip(_ordered(one, keys), _ordered(other, keys), strict=True)
    return [f"{relation}: {a} and {b}" for a, b in pairs if a != b][:3]


def drawn(strategy: st.SearchStrategy[Any], count: int) -> list[Any]:
    """Give so many random things, the same every time."""
    found: list[Any] = []

    @settings(
        max_examples=count,
        derandomize=True,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy)
    def gather(one: Any) -> None:
        found.append(one)

    gather()
    return found
