"""A great book's marks cut into ranges that have nothing to do with each other.

How far a part had gone hangs on the marks of the bikes it was on, and on no others: worked out of a
range at a time, in memory that does not grow with the book, it is the same.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Protocol

import pyarrow as pa
import pyarrow.compute as pc

from ledger.state import made_up_part

_MADE_UP = made_up_part("[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
"""How a part is called that was made up from an event."""
_NAMING = ("bike", "part", "id")


class Pieces(Protocol):
    """Rows of `wear_marks` in pieces, to be read as often as somebody asks."""

    def read(self, columns: Collection[str] | None = None) -> Iterator[pa.Table]:
        """Give one piece after another; only some columns of them, where these are named."""


@dataclass(frozen=True)
class InOne:
    """A table in memory as one piece."""

    table: pa.Table

    def read(self, columns: Collection[str] | None = None) -> Iterator[pa.Table]:
        """Give the table."""
        names = self.table.column_names
        yield (
            self.table
            if columns is None
            else self.table.select([name for name in names if name in columns])
        )


@dataclass(frozen=True)
class Ranges:
    """Pieces of which no two share a bike or a part: those that did come in one more."""

    pieces: Pieces
    moved: pa.Array
    """The bikes that do not come where they lie."""

    def read(self, columns: Collection[str] | None = None) -> Iterator[pa.Table]:
        """Give them as `Pieces` does, at least one; the bike is always among the columns."""
        moved = []
        for piece in self.pieces.read(None if columns is None else {"bike", *columns}):
            if len(self.moved):
                is_moved = pc.is_in(piece["bike"], self.moved)
                moved.append(piece.filter(is_moved))
                piece = piece.filter(pc.invert(is_moved))
            yield piece
        if moved:
            yield pa.concat_tables(moved)


def cut(marks: Pieces) -> Ranges:
    """Cut marks so that what lies in one piece stays together as far as it can.

    Bikes that pieces share, or parts that bikes of several were on, are moved, with all that
    hangs on them.
    """
    if isinstance(marks, InOne):
        return Ranges(marks, pa.array([], pa.string()))
    named = _named_events(marks)
    shared = _in_several(_Names(piece, *named) for piece in marks.read(_NAMING))
    while True:
        found = [_Names(piece, *named).beside(shared) for piece in marks.read(_NAMING)]
        bikes = pc.unique(pa.chunked_array([bikes for bikes, _ in found], pa.string()))
        theirs = pc.unique(pa.chunked_array([names for _, names in found], pa.string()))
        if len(theirs) == len(shared):
            return Ranges(marks, bikes)
        shared = theirs


class _Names:
    """The names in a piece: of its bikes, of the parts it tells of, of those made up for it."""

    def __init__(self, piece: pa.Table, made_up: pa.Array, events: pa.Array) -> None:
        self._bikes = piece["bike"]
        of_event = made_up.take(pc.index_in(piece["id"], events).combine_chunks())
        self._columns = [self._bikes, piece["part"], pa.chunked_array([of_event])]

    def all(self, rows: pa.ChunkedArray | None = None) -> pa.Array:
        """Give each once, also where it is in two columns; of some rows alone."""
        columns = self._columns if rows is None else [one.filter(rows) for one in self._columns]
        return pc.unique(pa.chunked_array(map(pc.unique, columns), pa.string())).drop_null()

    def beside(self, shared: pa.Array) -> tuple[pa.Array, pa.Array]:
        """Give the bikes that have one of these names, and all the names on them."""
        bikes = pc.unique(
            pa.chunked_array(
                [
                    chunk
                    for column in self._columns
                    for chunk in self._bikes.filter(pc.is_in(column, shared)).chunks
                ],
                pa.string(),
            )
        )
        return bikes, self.all(pc.is_in(self._bikes, bikes))


def _in_several(pieces: Iterator[_Names]) -> pa.Array:
    """Give the names that are in more than one piece."""
    counted = pc.value_counts(pa.chunked_array([one.all() for one in pieces], pa.string()))
    return counted.field("values").filter(pc.greater(counted.field("counts"), 1))


def _named_events(marks: Pieces) -> tuple[pa.Array, pa.Array]:
    """Give the made-up names that events tell of, and for each the id of its event."""
    said = pa.chunked_array([pc.unique(one["part"]) for one in marks.read(("part",))], pa.string())
    there = pc.unique(said).drop_null()
    made_up = there.filter(pc.match_substring_regex(there, f"^{_MADE_UP}$"))
    ids = [bytes.fromhex(name[-36:].replace("-", "")) for name in made_up.to_pylist()]
    return made_up, pa.array(ids, pa.binary(16))
