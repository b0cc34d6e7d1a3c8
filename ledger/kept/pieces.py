"""Figures of many shapes as one Arrow table of one row, and out of it again.

What is in memory arrays, texts, tables and plain values, held together by dataclasses, becomes one
column each, read in place; a text in the first column says how they belong together. Nothing of a
file is ever run: only dataclasses that the reader names are made.
"""

from __future__ import annotations

import gc
import json
from base64 import b64decode, b64encode
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime
from functools import partial
from typing import Any

import numpy as np
import pyarrow as pa

from ledger.kept.rows import Named, Rows

Node = dict[str, Any]
_HOW = "how"
_MANY = 1_000
"""A mapping of so many is made when something of it is asked for."""
_PLAIN = (bool, int, float, str)
_LISTED = {bool: pa.bool_(), int: pa.int64(), float: pa.float64(), str: pa.string(),
           datetime: pa.timestamp("us", "UTC"), date: pa.date32()}  # fmt: skip
_WRONG = (AttributeError, IndexError, KeyError, TypeError, ValueError, pa.ArrowException)
"""What comes of a text that tells of something else."""


class Unreadable(Exception):
    """A table that holds nothing of the kind asked for."""


def packed(thing: Any) -> pa.Table:
    """Give a table of one row that `unpacked` makes an equal thing of.

    Takes dataclasses, lists and tuples, mappings, numpy arrays, Arrow tables, None, numbers,
    texts, days and instants of UTC; raises TypeError for anything else.
    """
    columns: list[pa.Array] = []
    how = json.dumps(_Packing(columns).node(thing))
    wrapped = [pa.LargeListArray.from_arrays(pa.array([0, len(one)], pa.int64()), one)
               for one in columns]  # fmt: skip
    return pa.table(
        [pa.array([how], pa.string()), *wrapped],
        names=[_HOW, *(str(number) for number in range(len(wrapped)))],
    )


def unpacked(table: pa.Table, shapes: Iterable[type], many: Iterable[type] = ()) -> Any:
    """Give the thing of a table that `packed` gave; `shapes` are the dataclasses that may be in it.

    Tuples of those of `many` are Rows, each made when it is looked at. Arrays are read in place
    and cannot be written to. Raises Unreadable.
    """
    try:
        columns = [one.chunk(0).values for one in table.columns[1:]]
        how = json.loads(table[_HOW][0].as_py())
        with _uncollected():
            named = {shape.__name__: shape for shape in shapes}
            return _Unpacking(columns, named, {shape.__name__ for shape in many}).thing(how)
    except (
        AttributeError,
        IndexError,
        KeyError,
        TypeError,
        ValueError,
        pa.ArrowException,
    ) as error:
        raise Unreadable(str(error)) from None


@contextmanager
def _uncollected() -> Iterator[None]:
    """Look for no garbage within: among what is only made there is none, and looking takes most."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


class _Packing:
    def __init__(self, columns: list[pa.Array]) -> None:
        self._columns = columns

    def node(self, thing: Any) -> Node:
        """Say how a thing is made up, its columns put with the others."""
        if isinstance(thing, np.generic):
            thing = thing.item()
        if thing is None or isinstance(thing, _PLAIN):
            return {"is": "plain", "value": thing}
        if isinstance(thing, (datetime, date)):
            return {"is": "listed", "column": self._column(_array([thing])), "of": "one"}
        if isinstance(thing, np.ndarray):
            return self._array(thing)
        if isinstance(thing, pa.Table):
            return self._table(thing)
        if is_dataclass(thing) and not isinstance(thing, type):
            return self._shaped(type(thing), {name: getattr(thing, name) for name in _names(thing)})
        if isinstance(thing, Mapping):
            many = {"many": len(thing)} if len(thing) >= _MANY else {}
            return {"is": "mapping", "keys": self._list([*thing]),
                    "values": self._list([*thing.values()]), **many}  # fmt: skip
        if isinstance(thing, (list, tuple)):
            return self._list(thing)
        raise TypeError(f"{type(thing).__name__} is not kept")

    def _column(self, array: pa.Array) -> int:
        self._columns.append(array)
        return len(self._columns) - 1

    def _array(self, array: np.ndarray[Any, Any]) -> Node:
        if array.dtype.kind not in "bif":
            return {**self._list(array.tolist()), "of": "array"}
        flat = np.ascontiguousarray(array).reshape(-1)
        stored = flat.view(np.uint8) if array.dtype == np.bool_ else flat
        return {"is": "array", "column": self._column(pa.array(stored)),
                "type": array.dtype.name, "size": list(array.shape)}  # fmt: skip

    def _table(self, table: pa.Table) -> Node:
        held = [self._column(_in_one(table[name])) for name in table.column_names]
        return {"is": "table", "columns": held, "schema": _schema_text(table.schema)}

    def _shaped(self, shape: type, values: Mapping[str, Any]) -> Node:
        return {"is": "shape", "of": shape.__name__,
                "has": {name: self.node(one) for name, one in values.items()}}  # fmt: skip

    def _rows(self, values: Sequence[Any], shape: type) -> Node:
        there = [one for one in values if one is not None]
        has = {name: self._list([getattr(one, name) for one in there]) for name in _names(shape)}
        is_there = self._array(np.array([one is not None for one in values]))
        return {"is": "rows", "shape": shape.__name__, "has": has, "there": is_there}

    def _list(self, values: Sequence[Any]) -> Node:
        of = "tuple" if isinstance(values, tuple) else "list"
        kinds = {type(one) for one in values}
        kind = next(iter(kinds - {type(None)}), str)
        if len(kinds - {type(None)}) <= 1 and kind in _LISTED:
            return {"is": "listed", "column": self._column(_array(values)), "of": of}
        if len(kinds - {type(None)}) == 1 and is_dataclass(kind):
            return {**self._rows(values, kind), "of": of}
        if len(kinds) == 1 and kind in (list, tuple):
            inner = [one for some in values for one in some]
            ends = np.cumsum([len(some) for some in values])
            return {"is": "ragged", "of": of, "inner": kind.__name__,
                    "ends": self._array(ends), "values": self._list(inner)}  # fmt: skip
        return {"is": "each", "of": of, "values": [self.node(one) for one in values]}


class _Unpacking:
    """Makes things of nodes; what is a list is made from one place up to another."""

    def __init__(
        self, columns: Sequence[pa.Array], shapes: Mapping[str, type], many: Collection[str]
    ) -> None:
        self._columns, self._shapes, self._many = columns, shapes, many

    def thing(self, node: Node) -> Any:
        """Make the thing a node tells of."""
        if node["is"] == "rows" and node["of"] == "tuple" and node["shape"] in self._many:
            return self._later(node)
        return self._made(node, 0, None)

    def _made(self, node: Node, start: int, stop: int | None) -> Any:
        made: Any = getattr(self, f"_{node['is']}")(node, start, stop)
        return made

    def _later(self, node: Node) -> Rows[Any]:
        has, is_there = node["has"], self.thing(node["there"])
        if not is_there.all() or {self._count(one) for one in has.values()} != {len(is_there)}:
            raise KeyError(f"{node['shape']} has columns of several lengths, or rows that are None")
        self._rows(node, 0, 1)  # what it is made of is known
        return Rows(len(is_there), partial(self._rows, node), lambda name: self.thing(has[name]))

    def _count(self, node: Node) -> int:
        if node["is"] == "listed":
            return len(self._columns[node["column"]])
        inside = {"rows": "there", "ragged": "ends"}.get(node["is"])
        return len(self.thing(node[inside])) if inside else len(node["values"])

    def _plain(self, node: Node, start: int, stop: int | None) -> Any:
        return node["value"]

    def _listed(self, node: Node, start: int, stop: int | None) -> Any:
        values = self._columns[node["column"]][start:stop].to_pylist()
        if values and isinstance(next((one for one in values if one is not None), None), datetime):
            values = [None if one is None else one.astimezone(UTC) for one in values]
        return values[0] if node["of"] == "one" else _as(node["of"], values)

    def _array(self, node: Node, start: int, stop: int | None) -> np.ndarray[Any, Any]:
        stored = self._columns[node["column"]].to_numpy(zero_copy_only=True)
        kind = np.dtype(node["type"])
        shaped = np.asarray(stored.view(kind) if kind == np.bool_ else stored).reshape(node["size"])
        return shaped[start:stop] if shaped.ndim else shaped

    def _table(self, node: Node, start: int, stop: int | None) -> pa.Table:
        schema = pa.ipc.read_schema(pa.py_buffer(b64decode(node["schema"])))
        return pa.table([self._columns[one] for one in node["columns"]], schema=schema)

    def _shape(self, node: Node, start: int, stop: int | None) -> Any:
        shape = self._shapes[node["of"]]
        return shape(**{name: self.thing(one) for name, one in node["has"].items()})

    def _mapping(self, node: Node, start: int, stop: int | None) -> Mapping[Any, Any]:
        def made() -> dict[Any, Any]:
            return dict(zip(self.thing(node["keys"]), self.thing(node["values"]), strict=True))

        if "many" not in node:
            return made()
        if {self._count(node[one]) for one in ("keys", "values")} != {node["many"]}:
            raise KeyError("a mapping has more keys than values, or fewer")
        return Named(made, node["many"])

    def _shape_of(self, node: Node) -> type:
        shape = self._shapes[node["shape"]]
        if list(node["has"]) != _names(shape):
            raise KeyError(f"{shape.__name__} has other fields")
        return shape

    def _rows(self, node: Node, start: int, stop: int | None) -> Any:
        shape, is_there = self._shape_of(node), self.thing(node["there"])
        before, within = int(is_there[:start].sum()), is_there[start:stop]
        after = before + int(within.sum())
        columns = [self._made(one, before, after) for one in node["has"].values()]
        if len({len(one) for one in columns}) > 1:
            raise KeyError(f"{shape.__name__} has columns of several lengths")
        rows = list(map(shape, *columns)) if columns else []
        coming = iter(rows)
        return _as(node["of"], [next(coming) if there else None for there in within.tolist()])

    def _ragged(self, node: Node, start: int, stop: int | None) -> Any:
        # a piece of a tuple is a tuple: hundreds of thousands are not made twice
        ends = self.thing(node["ends"])[start:stop].tolist()
        first = int(self.thing(node["ends"])[start - 1]) if start and ends else 0
        values = _as(node["inner"], self._made(node["values"], first, ends[-1] if ends else first))
        places = [end - first for end in ends]
        pieces = [values[begin:end] for begin, end in zip([0, *places], places, strict=False)]
        return _as(node["of"], pieces)

    def _each(self, node: Node, start: int, stop: int | None) -> Any:
        return _as(node["of"], [self.thing(one) for one in node["values"][start:stop]])


def _names(shape: Any) -> list[str]:
    return [field.name for field in fields(shape)]


def _as(kind: str, values: list[Any]) -> Any:
    if kind == "array":
        found = np.empty(len(values), dtype=object)
        found[:] = values
        return found
    return tuple(values) if kind == "tuple" else values


def _array(values: Sequence[Any]) -> pa.Array:
    kind = next((type(one) for one in values if one is not None), str)
    return pa.array(values, _LISTED[kind])


def _schema_text(schema: pa.Schema) -> str:
    return b64encode(schema.serialize().to_pybytes()).decode()


def _in_one(column: pa.ChunkedArray) -> pa.Array:
    found = column.combine_chunks()
    if isinstance(found, pa.ChunkedArray):
        return found.chunk(0) if found.num_chunks else pa.array([], column.type)
    return found
