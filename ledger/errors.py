"""Every way Lockring can say no, as one family.

Problems found in data are values (`Problem`), gathered and listed together. Operations that
cannot go on raise a `LedgerError`, whose text a mechanic can act on.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

Severity = Literal["refused", "warning"]


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong with one field of one event (or row), and what would be right."""

    event: str
    """Which event or row: `event 3 (part_fitted, bike 7K3M9QXA)`, `row 12`, an event id."""
    field: str
    """The field as the person entered it: `data.value.unit`, `occurred_at`, a column name."""
    wrong: str
    right: str
    rule: str = ""
    """The name of the rule that found it, stable, for programs: `position_occupied`."""
    severity: Severity = "refused"

    def __str__(self) -> str:
        """Give the one line a person reads."""
        return f"{self.event}: {self.field}: {self.wrong.removesuffix('.')}. {self.right}"


class LedgerError(Exception):
    """Anything Lockring refuses or cannot do; the message says what to do about it."""


class Refused(LedgerError):
    """A commit that broke at least one rule; nothing of it was recorded."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        count = len(self.problems)
        head = f"Nothing was recorded: {count} problem{'' if count == 1 else 's'}."
        super().__init__("\n".join([head, *(f"  {problem}" for problem in self.problems)]))


class NoBook(LedgerError):
    """There is no book where one was asked for."""


class BookExists(LedgerError):
    """A book is to be made where there already is something."""


class NoRoom(LedgerError):
    """The temporary folder does not hold what has to be laid there."""


class BookDamaged(LedgerError):
    """A file of the book does not hold what it says it holds, or one is missing."""


class WriteRefused(LedgerError):
    """The place the book stands on cannot keep the promises a commit makes."""


class NotDurable(LedgerError):
    """The disk did not confirm a write; the book must be opened again and read."""


class Unreachable(LedgerError, OSError):
    """An object store does not answer, or does not let this machine in.

    An OSError too: to a commit it is a reply that was lost.
    """


class ClockJumped(LedgerError):
    """The clock is more than a day past the newest commit and nobody confirmed it."""


class UnknownBike(LedgerError):
    """The tag asked for is not in this book."""


def unknown_bike(bike: str, known: Sequence[str]) -> UnknownBike:
    """Give the error for a tag a book does not have, with the nearest of those it has."""
    near = get_close_matches(bike.upper(), known, n=3, cutoff=0.6)
    hint = f" Did you mean {' or '.join(near)}?" if near else ""
    if not known:
        hint = " The book holds no bikes yet."
    return UnknownBike(f"No bike has the tag {bike}.{hint}")


class UnreadableInput(LedgerError):
    """A file to import, or a line to record, cannot be read at all."""


class WrongUse(LedgerError):
    """The command line was used wrongly (exit code 2)."""
