"""What is wrong with a backup: by file and by commits, as values."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from ledger.backup.files import cover_of
from ledger.storage.listing import Cover

Wrong = Literal[
    "missing", "damaged", "unreadable", "out of place", "other root", "other replay", "not compared"
]
Span = tuple[int, int]
"""First and last commit."""


@dataclass(frozen=True, slots=True)
class Damage:
    """One thing wrong with a backup."""

    file: str
    """Its name in the backup."""
    wrong: Wrong
    detail: str
    first: int | None = None
    """The first commit it holds; None where it holds none."""
    last: int | None = None

    @classmethod
    def of(cls, file: str, wrong: Wrong, detail: str) -> Damage:
        """Give the damage of a file, with the commits its name tells."""
        cover = cover_of(file)
        if cover is None:
            return cls(file, wrong, detail)
        return cls(file, wrong, detail, cover.first, cover.last)

    def __str__(self) -> str:
        """Give the one line a person reads."""
        commits = "" if self.first is None or self.last is None else spans_words([self.span])
        return f"{self.file}: {self.wrong}{f', {commits}' if commits else ''}. {self.detail}"

    @property
    def span(self) -> Span:
        """Give the commits it holds; (0, 0) where it holds none."""
        return self.first or 0, self.last or 0


@dataclass(frozen=True, slots=True)
class Way:
    """The files that hold every commit from 1 on, as far as that goes, and the others."""

    files: tuple[Cover, ...] = ()
    aside: tuple[Cover, ...] = field(default=())

    @property
    def last(self) -> int:
        """Give the last commit before the first gap."""
        return self.files[-1].last if self.files else 0


def longest_way(covers: Iterable[Cover]) -> Way:
    """Give the files that lead from commit 1 as far as possible without a gap, the fewest."""
    steps: dict[int, tuple[int, Cover | None]] = {0: (0, None)}
    held = sorted(covers)
    for cover in held:
        before = steps.get(cover.first - 1)
        there = steps.get(cover.last)
        if before is not None and (there is None or before[0] + 1 < there[0]):
            steps[cover.last] = (before[0] + 1, cover)
    files: list[Cover] = []
    at = max(steps)
    while (cover_there := steps[at][1]) is not None:
        files.append(cover_there)
        at = cover_there.first - 1
    chosen = frozenset(files)
    return Way(tuple(reversed(files)), tuple(one for one in held if one not in chosen))


def lost_spans(way: Way, last: int) -> list[Span]:
    """Give the runs of commits, up to the last one there was, that no whole file holds."""
    lost: list[Span] = []
    reached = way.last
    for cover in way.aside:
        if cover.first > reached + 1:
            lost.append((reached + 1, cover.first - 1))
        reached = max(reached, cover.last)
    return [*lost, (reached + 1, last)] if reached < last else lost


def spans_words(spans: Iterable[Span]) -> str:
    """Give runs of commits in words: `commit 7`, `commits 7 to 9 and 12`."""
    told = [str(first) if first == last else f"{first} to {last}" for first, last in spans]
    is_one = len(told) == 1 and " " not in told[0]
    listed = " and ".join(filter(None, [", ".join(told[:-1]), *told[-1:]]))
    return f"commit{'' if is_one else 's'} {listed}"
