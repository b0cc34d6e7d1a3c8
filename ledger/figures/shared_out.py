"""Whole minutes and money dealt out so that the shares add up to what was there."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Integers = npt.NDArray[np.int64]


def shared_equally(totals: Integers, group: Integers) -> Integers:
    """Deal each group's total out to its rows equally: (N,) of (N,) groups, whole numbers.

    `totals` (G,) is at least 0 and `group` (N,) indexes it. Of what does not go in evenly, the
    first rows of a group get one more each; a group without a row deals out nothing.
    """
    if not len(group):
        return np.zeros(0, dtype=np.int64)
    count = np.bincount(group, minlength=len(totals))
    each, over = np.divmod(totals, np.maximum(count, 1))
    return np.asarray(each[group] + (place_in_group(group) < over[group]), dtype=np.int64)


def place_in_group(group: Integers) -> Integers:
    """Give for each row which one of its group it is, in the order they come: 0, 1, 2 ..."""
    order = np.argsort(group, kind="stable")
    ordered = group[order]
    first = np.searchsorted(ordered, ordered)
    place = np.empty(len(group), dtype=np.int64)
    place[order] = np.arange(len(group)) - first
    return place
