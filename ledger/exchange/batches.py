"""Rows recorded together, so that each is all or nothing and a bad one leaves its neighbours."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger.errors import Problem, Refused
from ledger.exchange.bikes_seen import BikesSeen
from ledger.exchange.drafting import Draft, Drafter, LogRow
from ledger.exchange.fields import RowWrong

if TYPE_CHECKING:
    from ledger.book import Book

RowDrafts = tuple[LogRow, tuple[Draft, ...]]


@dataclass(frozen=True, slots=True)
class RejectedRow:
    """A row that is not recorded, and why."""

    row: LogRow
    reason: str


@dataclass(frozen=True, slots=True)
class Batch:
    """What became of some rows."""

    recorded: tuple[RowDrafts, ...]
    rejected: tuple[RejectedRow, ...]
    warnings: tuple[Problem, ...]


class Recording:
    """Records rows a batch at a time; a bad row does not take its neighbours with it."""

    def __init__(self, book: Book, drafter: Drafter, bikes: BikesSeen, confirm_clock: bool) -> None:
        self._book = book
        self._drafter = drafter
        self._bikes = bikes
        self._confirm_clock = confirm_clock
        self._events_a_row = 2

    def record_all(self, rows: Sequence[LogRow], events_a_commit: int) -> Iterator[Batch]:
        """Record rows in as many commits as keep each at about so many events."""
        size = max(1, events_a_commit // max(1, self._events_a_row))
        at = 0
        while at < len(rows):
            batch = self.record(rows[at : at + size])
            at += size
            if batch.recorded:
                count = sum(len(drafts) for _, drafts in batch.recorded)
                self._events_a_row = round(count / len(batch.recorded))
            yield batch

    def record(self, rows: Sequence[LogRow]) -> Batch:
        """Record the rows in one commit, without those that cannot be."""
        left = list(rows)
        rejected: list[RejectedRow] = []
        warnings: tuple[Problem, ...] = ()
        most = 1
        while True:
            made, wrong = self._made(left)
            rejected += wrong
            try:
                warnings = self._append(made)
            except Refused as refused:
                self._bikes.take_back()
                guilty = _guilty(refused.problems, made, most)
                if not guilty:
                    return self._in_halves([row for row, _ in made], rejected, refused)
                rejected += guilty
                gone = {id(one.row) for one in (*guilty, *wrong)}
                left = [row for row in left if id(row) not in gone]
                most *= 4
                continue
            self._bikes.keep()
            return Batch(tuple(made), tuple(rejected), warnings)

    def _made(self, rows: Sequence[LogRow]) -> tuple[list[RowDrafts], list[RejectedRow]]:
        made, wrong = [], []
        for row in rows:
            try:
                made.append((row, tuple(self._drafter.drafts(row))))
            except RowWrong as error:
                wrong.append(RejectedRow(row, str(error)))
        return made, wrong

    def _append(self, made: Sequence[RowDrafts]) -> tuple[Problem, ...]:
        drafts = [draft for _, of_row in made for draft in of_row]
        if not drafts:
            return ()
        labels = [label for row, of_row in made for label in _labels(row, of_row)]
        receipt = self._book.append(
            drafts, labels=labels, confirm_clock=self._confirm_clock, is_brought_in=True
        )
        return receipt.warnings

    def _in_halves(
        self, rows: Sequence[LogRow], rejected: list[RejectedRow], refused: Refused
    ) -> Batch:
        """Record rows half and half, where no problem names the row it is of.

        So it is where a row would break something that is in the book already.
        """
        if len(rows) == 1:
            reasons = "; ".join(f"would break {problem}" for problem in refused.problems[:3])
            return Batch((), (*rejected, RejectedRow(rows[0], reasons)), ())
        middle = len(rows) // 2
        first, second = self.record(rows[:middle]), self.record(rows[middle:])
        return Batch(
            (*first.recorded, *second.recorded),
            (*rejected, *first.rejected, *second.rejected),
            (*first.warnings, *second.warnings),
        )


def _labels(row: LogRow, drafts: Sequence[Draft]) -> Iterator[str]:
    for index, draft in enumerate(drafts, start=1):
        yield f"row {row.number}, event {index} ({draft['kind']})"


def _said(problem: Problem) -> str:
    return f"{problem.field}: {problem.wrong}. {problem.right}"


def _guilty(problems: Sequence[Problem], made: Sequence[RowDrafts], most: int) -> list[RejectedRow]:
    """Give the rows that problems name: of each bike the first ones, at most `most`.

    A bad row may make later rows of its bike look bad, so these are tried again without it.
    """
    reasons: dict[str, dict[str, str]] = {}
    for problem in problems:
        label = problem.event.split(",")[0]
        kind = problem.event.rpartition("(")[2].rstrip(")")
        reasons.setdefault(label, {}).setdefault(_said(problem), kind)
    taken: dict[str, int] = {}
    found = []
    for row, drafts in made:
        named = reasons.get(f"row {row.number}")
        bike = drafts[0]["bike"] if drafts else ""
        if named and taken.get(bike, 0) < most:
            taken[bike] = taken.get(bike, 0) + 1
            said = (f"{kind} {reason}" for reason, kind in named.items())
            found.append(RejectedRow(row, "; ".join(said)))
    return found
