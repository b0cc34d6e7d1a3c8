"""Episodes and what was found again, from plain arrays of marks."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.episodes import CLEARING, NONE, OPENING, REPAIR, Marks, episodes_of, repeats_of

Mark = tuple[int, int, int, int, int]
"""Group, time, role, visit, cause."""


def marks_of(marks: list[Mark], order: list[int] | None = None) -> Marks:
    """Give marks as arrays, numbered as they come, in any order."""
    rows = np.array(marks, dtype=np.int64).reshape(-1, 5)
    chosen = np.arange(len(rows)) if order is None else np.array(order, dtype=np.int64)
    group, at, role, visit, cause = rows[chosen].T
    return Marks(group, at, chosen, role, visit, cause, np.ones(len(rows), dtype=np.bool_))


def told(marks: Marks) -> tuple[list[tuple[int, ...]], list[tuple[int, ...]]]:
    """Give (found, put right, cleared) by the marks' numbers, and (found again, first found)."""
    episodes = episodes_of(marks)
    repeats = repeats_of(marks, episodes)

    def numbers(rows: np.ndarray) -> list[int]:
        return [NONE if row == NONE else int(marks.number[row]) for row in rows]

    found = numbers(episodes.found)
    spans = list(zip(found, numbers(episodes.put_right), numbers(episodes.cleared), strict=True))
    again = [(found[a], found[f]) for a, f in zip(repeats.again, repeats.first, strict=True)]
    return spans, again


def test_no_marks_make_no_episodes() -> None:
    """Nothing in, nothing out."""
    assert told(marks_of([])) == ([], [])


def test_faults_of_two_places_are_told_apart() -> None:
    """Each group has its own episodes, though their marks lie between each other in time."""
    marks = [
        (0, 1, OPENING, 1, NONE),
        (1, 2, OPENING, 1, NONE),
        (1, 3, CLEARING, 1, NONE),
        (0, 4, REPAIR, 1, NONE),
        (1, 5, OPENING, 2, NONE),
        (0, 6, OPENING, 2, NONE),
    ]
    assert told(marks_of(marks)) == (
        [(0, 3, NONE), (5, NONE, NONE), (1, NONE, 2), (4, NONE, NONE)],
        [(5, 0)],
    )


def test_what_only_clears_makes_no_episode() -> None:
    """A look that finds a fault gone which nobody found tells nothing."""
    assert told(marks_of([(0, 1, CLEARING, 1, NONE), (1, 1, CLEARING, 1, 3)])) == ([], [])


@pytest.mark.parametrize(
    ("first", "later", "is_again", "is_told"),
    [(NONE, NONE, True, False), (1, NONE, True, False), (NONE, 1, True, False), (1, 1, True, True),
     (1, 2, False, False)],
)  # fmt: skip
def test_causes_that_contradict_are_two_faults(
    first: int, later: int, is_again: bool, is_told: bool
) -> None:
    """Only two causes that are told, and differ, keep a fault from having come back."""
    marks = marks_of([(0, 1, REPAIR, 1, first), (0, 2, OPENING, 2, later)])
    repeats = repeats_of(marks, episodes_of(marks))
    assert (len(repeats.again) == 1) is is_again
    assert repeats.is_cause_told.tolist() == [is_told][: len(repeats.again)]


MARKS = st.lists(
    st.tuples(
        st.integers(0, 2), st.integers(0, 6), st.sampled_from((OPENING, REPAIR, CLEARING)),
        st.integers(NONE, 2), st.integers(NONE, 1),
    ),
    max_size=25,
)  # fmt: skip


@settings(max_examples=150, deadline=None, derandomize=True)
@given(MARKS, st.randoms(use_true_random=False))
def test_the_order_in_which_marks_come_makes_no_difference(
    marks: list[Mark], chance: object
) -> None:
    """Time and number alone order the marks of a group."""
    order = list(range(len(marks)))
    chance.shuffle(order)  # type: ignore[attr-defined]  # a Random
    assert told(marks_of(marks, order)) == told(marks_of(marks))


@settings(max_examples=150, deadline=None, derandomize=True)
@given(MARKS)
def test_each_group_is_as_if_it_were_alone(marks: list[Mark]) -> None:
    """Other places and other bikes change nothing."""
    spans, again = told(marks_of(marks))
    groups = sorted({mark[0] for mark in marks})
    alone = [told(marks_of(marks, [n for n, m in enumerate(marks) if m[0] == g])) for g in groups]
    assert spans == [span for part, _ in alone for span in part]
    assert again == [one for _, part in alone for one in part]


@settings(max_examples=150, deadline=None, derandomize=True)
@given(MARKS)
def test_episodes_of_a_group_lie_one_after_the_other(marks: list[Mark]) -> None:
    """Each ends before the next is found, and a group with more than clearings has one."""
    episodes = episodes_of(marks_of(marks))
    rows = np.stack([episodes.found, episodes.put_right, episodes.cleared], axis=1).tolist()
    key = {n: (mark[0], mark[1], n) for n, mark in enumerate(marks)}
    spans = [sorted(key[row] for row in span if row != NONE) for span in rows]
    assert all(first[-1] < then[0] for first, then in pairwise(spans))
    assert all(key[span[0]] == known[0] for span, known in zip(rows, spans, strict=True))
    telling = {mark[0] for mark in marks if mark[2] != CLEARING}
    assert telling == set(episodes.group.tolist())
