"""Which files make up the book: told from their names alone."""

from __future__ import annotations

import contextlib
import math
import re
import time
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import NamedTuple, TypeVar

from ledger.errors import BookDamaged

_COMMIT = re.compile(r"c-([0-9]{12})\.parquet")
_SEGMENT = re.compile(r"s-([0-9]{12})-([0-9]{12})\.parquet")
Made = TypeVar("Made")

_LOOKS = 5
_PAUSES = (0.005, 0.02, 0.05, 0.1)
"""Seconds to wait before listing again: one made while files come and go may miss some."""


class Cover(NamedTuple):
    """A file of the book, and the run of commits it holds."""

    first: int
    last: int
    name: str

    @property
    def is_segment(self) -> bool:
        """Tell whether it is a segment, not a single commit's own file."""
        return self.name.startswith("s-")


@dataclass(frozen=True, slots=True)
class Listing:
    """The reading set: files that hold every commit from 1 on exactly once, in order."""

    files: tuple[Cover, ...] = ()

    @property
    def last(self) -> int:
        """Give the number of the newest commit; 0 in an empty book."""
        return self.files[-1].last if self.files else 0

    def covering(self, commit: int) -> Cover | None:
        """Give the file that holds a commit, or None."""
        place = bisect_right(self.files, commit, key=lambda file: file.first)
        return self.files[place - 1] if place else None


class Gapped(BookDamaged):
    """The names do not cover every commit from 1 to the newest."""


def commit_name(commit: int) -> str:
    """Give the name of the file one commit is written to."""
    return f"c-{commit:012}.parquet"


def segment_name(first: int, last: int) -> str:
    """Give the name of the file that holds the commits from first to last."""
    return f"s-{first:012}-{last:012}.parquet"


@lru_cache(maxsize=65_536)
def parse_name(name: str) -> Cover | None:
    """Give what a file name says the file holds; None for a name that is not the book's."""
    if match := _COMMIT.fullmatch(name):
        cover = Cover(int(match[1]), int(match[1]), name)
    elif match := _SEGMENT.fullmatch(name):
        cover = Cover(int(match[1]), int(match[2]), name)
    else:
        return None
    return cover if 1 <= cover.first <= cover.last else None


def reading_set(names: Iterable[str]) -> Listing:
    """Give the fewest files that hold every commit from 1 to the newest exactly once.

    Raises Gapped, naming the first commit that is missing.
    """
    # Sorting the names first makes the second sort, which is by number, a mere merge.
    covers = sorted(filter(None, map(parse_name, sorted(names))))
    follows = all(cover.first == before.last + 1 for before, cover in pairwise(covers))
    if not covers or (covers[0].first == 1 and follows):
        return Listing(tuple(covers))
    return Listing(tuple(_fewest(covers)))


def _fewest(covers: Sequence[Cover]) -> Iterator[Cover]:
    """Give the way from commit 1 to the newest that takes the fewest files."""
    end = max(cover.last for cover in covers)
    count_after = {end + 1: 0}
    best: dict[int, Cover] = {}
    for cover in reversed(covers):
        count = count_after.get(cover.last + 1, math.inf) + 1
        if count < count_after.get(cover.first, math.inf):
            count_after[cover.first], best[cover.first] = int(count), cover
    if 1 not in best:
        raise _gapped(covers, end)
    start = 1
    while start <= end:
        yield best[start]
        start = best[start].last + 1


def settled_listing(names: Callable[[], Iterable[str]]) -> Listing:
    """List until the reading set has no gap; raise Gapped if it still has after a few times."""
    return Lister(names).now()


class Lister:
    """Lists a store again and again, and works out only what changed since."""

    def __init__(
        self,
        names: Callable[[], Iterable[str]],
        changed_at: Callable[[], int | None] = lambda: None,
    ) -> None:
        """`changed_at` gives a mark of the store that stays as long as its names do, or None."""
        self._names = names
        self._changed_at = changed_at
        self._known = _Known(None, frozenset(), Listing())

    def now(self) -> Listing:
        """Give the reading set as it is now: list until it has no gap.

        Raises Gapped, naming the first commit that is missing, if it has one after a few times.
        """
        for pause in _PAUSES:
            with contextlib.suppress(Gapped):
                return self._look()
            time.sleep(pause)
        return self._look()

    def over(self, use: Callable[[Listing], Made]) -> Made:
        """Give what `use` makes of the reading set; again, if that is another one by then.

        A compaction takes away what a segment holds as well, so a file of an older listing may be
        gone, or, after a writer that slept, be another. Raises Gapped as `now` does, and what
        `use` raises of a listing that still stands.
        """
        for _ in range(_LOOKS):
            listing = self.now()
            try:
                return use(listing)
            except (FileNotFoundError, BookDamaged):
                if self.now() == listing:
                    raise
        return use(self.now())

    def _look(self) -> Listing:
        # Threads may look at the same time: what one found is put in place all at once.
        known, changed_at = self._known, self._changed_at()
        if changed_at is not None and changed_at == known.changed_at:
            return known.listing
        names = frozenset(filter(parse_name, self._names()))
        listing = known.listing
        if names != known.names:
            listing = _one_more(known, names) or reading_set(names)
        self._known = _Known(changed_at, names, listing)
        return listing


class _Known(NamedTuple):
    changed_at: int | None
    names: frozenset[str]
    listing: Listing


def _one_more(known: _Known, names: frozenset[str]) -> Listing | None:
    """Give what was seen with the commit that follows it, if that is all that changed."""
    following = parse_name(commit_name(known.listing.last + 1))
    assert following is not None
    if len(names) != len(known.names) + 1 or names - known.names != {following.name}:
        return None
    return Listing((*known.listing.files, following))


_CUT_OFF = (
    " If the book was empty and an import of it was cut off just now, nothing of it was recorded: "
    "take what is in the folder events away, and import again."
)
"""A great import names its first file last: without it, none of the others was acknowledged."""


def _gapped(covers: Sequence[Cover], end: int) -> Gapped:
    reached = {1}
    for cover in covers:
        if cover.first in reached:
            reached.add(cover.last + 1)
    missing = max(reached)
    return Gapped(
        f"The book has commit {end} but commit {missing} is missing ({commit_name(missing)}, or "
        "a segment that starts with it). Nothing was written. Put the file back from a backup."
        + (_CUT_OFF if missing == 1 and all(cover.is_segment for cover in covers) else "")
    )
