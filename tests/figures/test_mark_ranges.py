"""Marks cut into ranges, and what is worked out of them, against the same worked out at once."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations
from random import Random
from typing import Any
from uuid import UUID

import pyarrow as pa
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from ledger.book import Book
from ledger.figures.mark_ranges import cut
from ledger.figures.readings import BookReadings, book_readings
from ledger.kept import ranges
from ledger.state import made_up_part
from tests.figures.test_book_readings import kept, worn_lives
from tests.long import times
from tests.strategies import Life, lives

Row = tuple[int, int, str | int | None]
"""Piece, bike, and the part: its name, the number of the event it is made up from, or none."""


def event_id(number: int) -> UUID:
    return UUID(int=number)


@dataclass
class InMemory:
    """Pieces of marks."""

    pieces: list[pa.Table]

    def read(self, columns: Collection[str] | None = None) -> Iterator[pa.Table]:
        for piece in self.pieces:
            yield piece if columns is None else piece.select(sorted(columns))


def marks_of(rows: list[Row]) -> InMemory:
    """Give rows of marks in pieces; each row's event is its place."""
    names = [made_up_part(str(event_id(part))) if isinstance(part, int) else part
             for _, _, part in rows]  # fmt: skip
    whole = pa.table(
        {
            "bike": pa.array([f"B{bike}" for _, bike, _ in rows], pa.string()),
            "part": pa.array(names, pa.string()),
            "id": pa.array([event_id(place).bytes for place in range(len(rows))], pa.binary(16)),
        }
    )
    pieces = [piece for piece, _, _ in rows]
    return InMemory(
        [whole.filter(pa.array([one == piece for one in pieces], pa.bool_())) for piece in range(4)]
    )


def names_on(marks: pa.Table) -> set[str]:
    """Give the bikes and the parts that marks speak of; an event's own part is one of them."""
    rows = marks.to_pylist()
    told = {row["part"] for row in rows if row["part"]} | {row["bike"] for row in rows}
    return told | {made_up_part(str(UUID(bytes=row["id"]))) for row in rows}


ROWS = st.lists(
    st.tuples(
        st.integers(0, 3),
        st.integers(0, 8),
        st.one_of(st.none(), st.sampled_from("abcdefghij"), st.integers(0, 19)),
    ),
    max_size=20,
)


@settings(max_examples=times(300, usual=100), deadline=None)
@given(ROWS)
def test_no_bike_and_no_part_is_in_two_ranges(rows: list[Row]) -> None:
    """Every row is in one range, and whatever names the same bike or part is in the same."""
    marks = marks_of(rows)
    found = list(cut(marks).read())
    ids = [row["id"] for some in found for row in some.to_pylist()]
    assert sorted(ids) == [event_id(place).bytes for place in range(len(rows))]
    for one, other in combinations(found, 2):
        assert names_on(one).isdisjoint(names_on(other))


def test_bikes_that_share_nothing_stay_where_they_lie() -> None:
    """A range is a chunk, without the bikes that hang on those of another."""
    marks = marks_of([(0, 0, "a"), (0, 1, "b"), (1, 2, "c"), (1, 3, "b"), (2, 4, 0), (2, 5, None)])
    assert [sorted(set(some["bike"].to_pylist())) for some in cut(marks).read(["part"])] == [
        [], ["B2"], ["B5"], [], ["B0", "B1", "B3", "B4"]
    ]  # fmt: skip


def told(found: BookReadings) -> list[list[dict[str, Any]]]:
    return [table.to_pylist() for table in (found.readings, found.parts, found.distances)]


def at_once_and_by_range(book: Book, as_at: datetime, known_seq: int) -> list[Any]:
    """Give what both ways say, and hold their schemas equal."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(ranges, "MOST_AT_ONCE", 0)
        patched.setattr(ranges, "ROWS_AT_ONCE", 8)
        by_range = book_readings(book, as_at, known_seq)
    at_once = book_readings(book, as_at, known_seq)
    for name in ("readings", "parts", "distances"):
        assert getattr(at_once, name).schema == getattr(by_range, name).schema
    return [repr(told(at_once)), repr(told(by_range))]


@settings(max_examples=times(60, usual=12), deadline=None, derandomize=True, database=None,
          phases=(Phase.generate,))  # fmt: skip
@given(
    life=st.one_of(worn_lives(40), lives(most_events=60)),
    chance=st.randoms(use_true_random=False),
)
def test_readings_by_ranges_are_those_at_once(
    tmp_path_factory: pytest.TempPathFactory, life: Life, chance: Random
) -> None:
    """Readings, parts and distances agree to the last bit, whichever bikes parts were moved to."""
    book = kept(life, tmp_path_factory.mktemp("life"))
    asked = chance.choice(life.instants()), chance.randint(0, len(life.events))
    for as_at, known_seq in ((life.instants()[-1], len(life.events)), asked):
        at_once, by_range = at_once_and_by_range(book, as_at, known_seq)
        assert at_once == by_range
