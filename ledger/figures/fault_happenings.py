"""What happened at one position of many bikes, and what came next or was open at a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ledger.figures.fault_arrays import NONE, Flags, Integers, last_before

NEVER = np.iinfo(np.int64).max


@dataclass(frozen=True, slots=True, eq=False)
class Happenings:
    """Bike by bike in order of time; times are microseconds since 1970."""

    row: Integers
    """Which row each was when given."""
    bike: Integers
    at: Integers
    open_until: Integers
    """When all that had happened so far on that bike was over."""
    is_there: Flags
    """Of each bike: whether anything happened on it."""

    @classmethod
    def of(
        cls, bike: Integers, at: Integers, count_bikes: int, ended: Integers | None = None
    ) -> Happenings:
        """Put happenings in order; those of no bike (NONE) are left out."""
        row = np.flatnonzero(bike != NONE)
        row = row[np.lexsort((at[row], bike[row]))]
        bike, at = bike[row], at[row]
        over = at if ended is None else _highest_so_far(bike, ended[row])
        is_there = np.zeros(count_bikes, dtype=np.bool_)
        is_there[bike] = True
        return cls(row, bike, at, over, is_there)

    def is_open(self, bike: Integers, at: Integers) -> Flags:
        """Tell of each (bike, time) whether anything had begun by then and was not over then."""
        found = np.zeros(len(bike), dtype=np.bool_)
        asked = np.flatnonzero(self.is_there[bike])
        last = last_before(self.bike, self.at, bike[asked], at[asked], or_at=True)
        asked, last = asked[last != NONE], last[last != NONE]
        found[asked] = self.open_until[last] > at[asked]
        return found

    def next_after(self, bike: Integers, at: Integers) -> Integers:
        """Give of each (bike, time) the place of what happened next on that bike; NONE for none."""
        found = np.full(len(bike), NONE, dtype=np.int64)
        asked = np.flatnonzero(self.is_there[bike])
        last = last_before(self.bike, self.at, bike[asked], at[asked], or_at=True)
        after = np.where(last == NONE, np.searchsorted(self.bike, bike[asked]), last + 1)
        is_in = after < len(self.bike)
        asked, after = asked[is_in], after[is_in]
        is_own = self.bike[after] == bike[asked]
        found[asked[is_own]] = after[is_own]
        return found

    def last_between(self, bike: Integers, start: Integers, stop: Integers) -> Integers:
        """Give when something last happened on each bike after one time and before another.

        The first of the two times where nothing did.
        """
        found = start.copy()
        asked = np.flatnonzero(self.is_there[bike])
        last = last_before(self.bike, self.at, bike[asked], stop[asked])
        asked, last = asked[last != NONE], last[last != NONE]
        found[asked] = np.maximum(start[asked], self.at[last])
        return found


def _highest_so_far(bike: Integers, ended: Integers) -> Integers:
    """Give for each the latest end so far on its bike."""
    ends, rank = np.unique(ended, return_inverse=True)
    # Bikes lie one after another: each one's ranks are lifted above all of the one before.
    lift = bike * (len(ends) + 1)
    return ends[np.maximum.accumulate(rank + lift) - lift] if len(ends) else ended
