"""Faults found, put right and found again, from plain arrays of marks.

A mark finds a fault (OPENING), puts it right (REPAIR) or finds it gone (CLEARING). Marks of one
group (one fault at one place of one thing) follow each other by time, ties by number. An episode
begins at the first mark that is no clearing; at an opening right after a repair or clearing; and
at a repair right after a repair or clearing of another visit (no visit is never the same). The
relations `fault_episodes` and `fault_repeats` say the same in SQL; tests hold both equal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Integers = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

OPENING, REPAIR, CLEARING = 0, 1, 2
"""What a mark does."""
NONE = -1
"""The code of what is not told, and the row of what is not there."""


@dataclass(frozen=True, slots=True, eq=False)
class Marks:
    """N marks, in any order; all arrays are (N,)."""

    group: Integers
    """Codes from 0: one fault at one place of one thing."""
    at: Integers
    """When, in any unit."""
    number: Integers
    """What tells marks of one instant apart: the later one is larger."""
    role: Integers
    """OPENING, REPAIR or CLEARING."""
    visit: Integers
    """Codes of the visit it was of; NONE for none."""
    cause: Integers
    """Codes of the cause told; NONE for none."""
    is_look: Flags
    """Openings that judged it."""


@dataclass(frozen=True, slots=True, eq=False)
class Episodes:
    """E episodes by group, then time; each array is (E,) of rows of the marks, or NONE."""

    group: Integers
    """The group's code."""
    found: Integers
    """The first mark."""
    put_right: Integers
    """The last repair."""
    cleared: Integers
    """The first clearing, where nothing was put right."""
    told: Integers
    """The last mark that told a cause."""
    judged: Integers
    """The last look among the openings."""
    is_recorded: Flags
    """Whether anything opened it; else it was found when it was put right."""


@dataclass(frozen=True, slots=True, eq=False)
class Repeats:
    """R episodes that were found again, and those whose repairs they answer; both (R,)."""

    again: Integers
    """Rows of the episodes."""
    first: Integers
    is_cause_told: Flags
    """Both causes are told, and so they are equal."""


def episodes_of(marks: Marks) -> Episodes:
    """Give the episodes of all marks; marks that only clear make none."""
    order = np.lexsort((marks.number, marks.at, marks.group))
    group, role = marks.group[order], marks.role[order]
    is_telling = role != CLEARING
    told_before = _running(is_telling.astype(np.int64), group) - is_telling
    is_start = _starts(group, role, marks.visit[order], told_before == 0)
    is_within = told_before + is_telling > 0
    start = np.flatnonzero(is_start)
    parts = _Parts(order, start)
    put_right = parts.last(role == REPAIR)
    cleared = parts.first(is_within & (role == CLEARING))
    return Episodes(
        group=group[start],
        found=order[start],
        put_right=put_right,
        cleared=np.where(put_right == NONE, cleared, NONE),
        told=parts.last(is_within & (marks.cause[order] != NONE)),
        judged=parts.last((role == OPENING) & marks.is_look[order]),
        is_recorded=parts.last(role == OPENING) != NONE,
    )


def _starts(group: Integers, role: Integers, visit: Integers, is_first: Flags) -> Flags:
    """Say which marks, in order, begin an episode; `is_first`: nothing told of it before."""
    before = np.roll(role, 1)
    is_same_group = group == np.roll(group, 1)
    is_same_visit = (visit == np.roll(visit, 1)) & (visit != NONE)
    if len(group):
        is_same_group[0] = False
    is_after_work = is_same_group & (before != OPENING)
    is_another = (role == OPENING) | ((role == REPAIR) & ~is_same_visit)
    return np.asarray((role != CLEARING) & (is_first | (is_after_work & is_another)))


def _running(values: Integers, group: Integers) -> Integers:
    """Give the running sum within each group; groups stand together."""
    sums = np.cumsum(values)
    first = np.searchsorted(group, group)
    return np.asarray(sums - (sums - values)[first])


class _Parts:
    """Stretches of the ordered marks, each from one start to the next."""

    def __init__(self, order: Integers, start: Integers) -> None:
        self._order, self._start = order, start

    def last(self, chosen: Flags) -> Integers:
        """Give the mark of the last chosen place in each stretch, or NONE."""
        place = np.where(chosen, np.arange(len(chosen)), NONE)
        return self._marks(np.maximum.reduceat(place, self._start) if len(self._start) else place)

    def first(self, chosen: Flags) -> Integers:
        """Give the mark of the first chosen place in each stretch, or NONE."""
        count = len(chosen)
        place = np.where(chosen, np.arange(count), count)
        found = np.minimum.reduceat(place, self._start) if len(self._start) else place
        return self._marks(np.where(found == count, NONE, found))

    def _marks(self, place: Integers) -> Integers:
        if not len(self._start):
            return np.zeros(0, dtype=np.int64)
        return np.where(place == NONE, NONE, self._order[place])


def repeats_of(marks: Marks, episodes: Episodes) -> Repeats:
    """Give the episodes that were found again after the fault had been put right.

    Each answers the latest repair of an earlier episode of its group whose cause does not
    contradict: equal, or one of the two not told. Where that was of the very visit it was found
    in, it was found before the thing left, and answers nothing.
    """
    cause = _of(marks.cause, episodes.told)
    is_right = episodes.put_right != NONE
    any_before = _last_before(episodes.group, is_right)
    untold = _last_before(episodes.group, is_right & (cause == NONE))
    same = _last_same(episodes.group, cause, is_right)
    first = np.where(cause == NONE, any_before, np.maximum(untold, same))
    again = np.flatnonzero(first != NONE)
    first = first[again]
    visit = _of(marks.visit, episodes.found)[again]
    left = _of(marks.visit, _of(episodes.put_right, first))
    is_away = (visit == NONE) | (visit != left)
    again, first = again[is_away], first[is_away]
    return Repeats(again, first, (cause[again] == cause[first]) & (cause[again] != NONE))


def _of(values: Integers, rows: Integers) -> Integers:
    """Give values at rows; NONE where there is no row."""
    if not len(values):
        return np.full(len(rows), NONE, dtype=np.int64)
    return np.where(rows == NONE, NONE, values[rows])


def _last_before(group: Integers, chosen: Flags) -> Integers:
    """Give for each place the last chosen one before it in its group, or NONE."""
    place = np.where(chosen, np.arange(len(chosen)), NONE)
    last = np.concatenate([[NONE], np.maximum.accumulate(place)[:-1]]).astype(np.int64)
    if not len(group):
        return last[:0]
    return np.where((last != NONE) & (group[last] == group), last, NONE)


def _last_same(group: Integers, cause: Integers, chosen: Flags) -> Integers:
    """Give for each place the last chosen one before it of its group and cause, or NONE."""
    width = int(cause.max(initial=NONE)) + 2
    both = group * width + cause + 1
    order = np.argsort(both, kind="stable")
    last = _last_before(both[order], chosen[order])
    found = np.empty(len(group), dtype=np.int64)
    found[order] = np.where(last == NONE, NONE, order[last] if len(order) else last)
    return found
