"""One thing is on one bike: a part that goes from bike to bike, in one commit or in many."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.book import Book
from ledger.errors import Refused
from ledger.state import made_up_part
from tests.strategies import BIKES

BEGAN = datetime(2025, 1, 6, 9, tzinfo=UTC)
A, B = BIKES[:2]


def draft(kind: str, day: float, bike: str, **data: Any) -> dict[str, Any]:
    """Give an event as it is entered."""
    at = (BEGAN + timedelta(days=day)).isoformat()
    return {"kind": kind, "bike": bike, "actor": "mia", "occurred_at": at, "data": data}


def fitted(day: int, bike: str, position: str = "chain") -> dict[str, Any]:
    """Fit the one chain this is about."""
    return draft("part_fitted", day, bike, position=position, part="cx")


def removed(day: float, bike: str, position: str = "chain", **named: Any) -> dict[str, Any]:
    """Take it off."""
    return draft("part_removed", day, bike, position=position, reason="rotated", **named)


def new_book(folder: Path) -> Book:
    """Give a book that knows two bikes."""
    made = Book.init(folder / "b", shop="quay", clock=lambda: BEGAN + timedelta(days=400))
    made.append([draft("bike_registered", 0, bike) for bike in (A, B)])
    return made


NAMED = {"part": "cx"}
MOVED = [fitted(1, A), removed(10, A, **NAMED), fitted(11, B)]
MOVED_BACK = [*MOVED, removed(20, B, **NAMED), fitted(21, A)]


@pytest.mark.parametrize("named", [NAMED, {}], ids=["by name", "by its place"])
@pytest.mark.parametrize("count", [3, 4, 5])
def test_a_part_may_move_within_one_commit(
    tmp_path: Path, count: int, named: dict[str, Any]
) -> None:
    """Fitted on one bike, taken off it and fitted on another, in one commit in any order."""
    moves = [fitted(1, A), removed(10, A, **named), fitted(11, B), removed(20, B, **named)]
    moves = [*moves, fitted(21, A)][:count]
    for place, entered in enumerate((moves, moves[::-1])):
        (tmp_path / str(place)).mkdir()
        assert new_book(tmp_path / str(place)).append(entered).size == 2 + count


def test_a_past_stretch_may_be_entered_of_a_part_that_has_moved_on(tmp_path: Path) -> None:
    """What it did before it came to another bike is entered late, in one commit."""
    book = new_book(tmp_path)
    book.append([fitted(11, B)])
    with pytest.raises(Refused, match="part cx is fitted at chain of bike"):
        book.append([fitted(1, A)])
    book.append([fitted(1, A), removed(10, A, **NAMED)])
    with pytest.raises(Refused, match="part cx is fitted at chain of bike"):
        book.append([fitted(5, B), removed(6, B, **NAMED)])


def test_a_part_without_a_name_of_its_own_is_one_thing_too(tmp_path: Path) -> None:
    """The name a nameless part is given by is held to one bike within the same commit."""
    one = "018f22e2-79b0-7cc3-98c4-000000000001"
    nameless = draft("part_fitted", 1, A, position="chain") | {"id": one}
    again = draft("part_fitted", 11, B, position="chain", part=made_up_part(one))
    book = new_book(tmp_path)
    with pytest.raises(Refused, match="is fitted at chain of bike"):
        book.append([nameless, again])
    book.append([nameless, removed(10, A), again])


PLACES = [(bike, at) for bike in (A, B) for at in ("chain", "crank")]
STAYS = st.tuples(st.sampled_from(PLACES), st.integers(1, 30), st.integers(0, 12))


def may_be(stays: Sequence[tuple[Any, int, int]]) -> bool:
    """Say whether no two stays of the part overlap; a stay of 0 days has no end."""
    spans = sorted((since, since + days - 0.5 if days else 999) for _, since, days in stays)
    return all(before[1] < after[0] for before, after in pairwise(spans))


def moves_of(stay: tuple[Any, int, int], is_named: bool) -> list[dict[str, Any]]:
    """Give a stay as it is entered: its fitting and, where it has an end, its removal."""
    (bike, position), since, days = stay
    named = NAMED if is_named else {}
    end = [removed(since + days - 0.5, bike, position, **named)] if days else []
    return [fitted(since, bike, position), *end]


def accepted(
    stays: Sequence[tuple[Any, int, int]], together: Sequence[bool], is_named: bool, mix: Any
) -> bool:
    """Say whether a book takes all the stays, some of them in one commit with the one before."""
    commits: list[list[dict[str, Any]]] = [[]]
    for stay, is_with_last in zip(stays, together, strict=True):
        commits += [] if is_with_last else [[]]
        commits[-1] += moves_of(stay, is_named)
    with TemporaryDirectory() as folder:
        book = new_book(Path(folder))
        try:
            for commit in filter(None, commits):
                book.append(mix(commit))
        except Refused as refused:
            assert {p.severity for p in refused.problems} == {"refused"}
            return False
    return True


@settings(max_examples=60, deadline=None)
@given(
    st.lists(STAYS, min_size=2, max_size=4),
    st.lists(st.booleans(), min_size=4, max_size=4),
    st.booleans(),
    st.randoms(use_true_random=False),
)
def test_stays_are_taken_just_where_none_overlap(
    stays: list[tuple[Any, int, int]], together: list[bool], is_named: bool, random: Random
) -> None:
    """In one commit or several, in any order, backdated too, named or not."""

    def mix(commit: list[dict[str, Any]]) -> list[dict[str, Any]]:
        return random.sample(commit, len(commit))

    assert accepted(stays, together[: len(stays)], is_named, mix) == may_be(stays)
