"""Of what is kept, many rows and great mappings are made when they are looked at.

A page looks at a few of many.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from functools import cached_property
from operator import eq
from typing import Any, TypeVar, overload

Row = TypeVar("Row")
Other = TypeVar("Other")
Name = TypeVar("Name")
_AT_ONCE = 1024


class Rows(Sequence[Row]):
    """Rows that are made when they are looked at, and again when they are again.

    Equal to the list or tuple of the same rows; a slice is a tuple.
    """

    def __init__(
        self,
        count: int,
        part: Callable[[int, int], Sequence[Row]],
        column: Callable[[str], Sequence[Any]],
    ) -> None:
        """`part` gives the rows from a place up to another, `column` one field of every row."""
        self._count, self._part, self._column = count, part, column

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, place: int) -> Row: ...
    @overload
    def __getitem__(self, place: slice) -> tuple[Row, ...]: ...
    def __getitem__(self, place: int | slice) -> Row | tuple[Row, ...]:
        places = range(self._count)[place]
        if isinstance(places, int):
            return self._part(places, places + 1)[0]
        if places.step != 1:
            return tuple(self[one] for one in places)
        return tuple(self._part(places.start, places.stop)) if places else ()

    def __iter__(self) -> Iterator[Row]:
        for start in range(0, self._count, _AT_ONCE):
            yield from self._part(start, min(start + _AT_ONCE, self._count))

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, (Rows, list, tuple)):
            return NotImplemented
        return len(self) == len(other) and all(map(eq, self, other))

    def __hash__(self) -> int:
        return hash(tuple(self))

    def __repr__(self) -> str:
        return repr(tuple(self))

    def mapped(self, change: Callable[[Row], Other]) -> Rows[Other]:
        """Give the rows as `change` makes them, each when it is looked at."""

        def part(start: int, stop: int) -> Sequence[Other]:
            return [change(one) for one in self._part(start, stop)]

        return Rows(self._count, part, lambda name: [getattr(change(one), name) for one in self])

    def column(self, name: str) -> Sequence[Any]:
        """Give one field of every row, and make no row."""
        return self._column(name)


class Named(Mapping[Name, Row]):
    """A great mapping, made when something of it is asked for."""

    def __init__(self, make: Callable[[], Mapping[Name, Row]], count: int) -> None:
        self._make, self._count = make, count

    @cached_property
    def _made(self) -> Mapping[Name, Row]:
        return self._make()

    def __getitem__(self, name: Name) -> Row:
        return self._made[name]

    def __iter__(self) -> Iterator[Name]:
        return iter(self._made)

    def __len__(self) -> int:
        return self._count

    def __repr__(self) -> str:
        return repr(self._made)


def first_with(rows: Sequence[Row], name: str, among: Collection[Any]) -> Row | None:
    """Give the first row whose field is one of these, None where there is none."""
    values = rows.column(name) if isinstance(rows, Rows) else (getattr(one, name) for one in rows)
    place = next((place for place, value in enumerate(values) if value in among), None)
    return None if place is None else rows[place]


def mapped(rows: Sequence[Row], change: Callable[[Row], Other]) -> Sequence[Other]:
    """Give each row changed: when it is looked at, where the rows are made then."""
    return rows.mapped(change) if isinstance(rows, Rows) else tuple(map(change, rows))
