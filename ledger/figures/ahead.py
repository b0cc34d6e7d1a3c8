"""A book's whole tables, asked for before they are needed, in a thread beside other work.

The engine works outside of Python's one lock: while it does, modules are loaded and figures
worked out. All tables are as at one instant and as known to one seq, whenever they are asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Any

import pyarrow as pa

from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.figures.mark_ranges import InOne, Pieces
from ledger.kept import FEWEST_EVENTS, Keep, as_it_is, is_made_by_range, pieces_apart
from ledger.queries import asked_of, asking


@dataclass(frozen=True, slots=True)
class Question:
    """A relation over the whole book, with a condition in SQL and its bound parameters."""

    relation: str
    ending: str = ""
    values: Mapping[str, Any] = field(default_factory=dict, hash=False)


MARKS = Question("wear_marks")
TOLD_APART = Question(
    "measured_documents",
    "where contains(decode(canonical), $plate) or contains(decode(canonical), $zero)",
    {"plate": '"with_backing_plate":true', "zero": '"length_when_new":'},
)
"""Readings that tell a backing plate or a length when new, which have no column."""
SUMMARIES = Question("bike_summary")
OPEN_JOBS = Question("open_jobs")
FITTINGS = Question("fitting_documents")
AGE_LIMITS = Question(
    "fitting_documents", "where contains(decode(canonical), $age)", {"age": '"quantity":"age"'}
)
"""Fittings that tell a limit on the part's age."""
WEAR = "wear_fit"
"""What the fit of all wear is kept under."""
OF_WEAR = (TOLD_APART, MARKS)
OF_DUE = (TOLD_APART, MARKS, AGE_LIMITS, SUMMARIES, OPEN_JOBS)
"""In the order they are needed."""


class BookTables:
    """Whole tables of one book, as at an instant (None for now), as known to a seq (None: all)."""

    def __init__(
        self, book: Book, as_at: datetime | None = None, known_seq: int | None = None
    ) -> None:
        self._book = book
        self.asked: Asked = asked_of(book, as_at, known_seq)
        """As at which instant, and as known to which seq: what is None when asked, told."""
        self._coming: dict[Question, Future[pa.Table]] = {}

    def ask(self, *questions: Question) -> BookTables:
        """Begin to ask, one after the other, and go on; gives itself back.

        The book is read here, by the thread that calls; only the engine runs beside it. The marks
        of a great book are worked out when they are needed.
        """
        beside = ThreadPoolExecutor(max_workers=1)
        is_great = is_made_by_range(self._book)
        for question in questions:
            if question == MARKS and is_great:
                continue  # not in memory as a whole: see `marks`
            self._coming[question] = beside.submit(self._asking(question))
        beside.shutdown(wait=False)
        return self

    def ask_beside_kept(self, *questions: Question) -> BookTables:
        """Begin to ask as `ask` does, but nothing that is kept beside a book as great as this.

        What is not kept after all is asked for when it is needed.
        """
        size = self._book.head.size
        if size < FEWEST_EVENTS or self.asked.known_seq < size:
            return self.ask(*questions)
        name = f"derived/{WEAR}-*/{size}.arrow"
        is_kept = next(self._book.path.glob(name), None) is not None
        return self.ask(*(OF_WEAR if not is_kept and set(OF_WEAR) <= set(questions) else ()))

    def answer(self, question: Question) -> pa.Table:
        """Give a table, with whatever error asking for it raised; asked for now if not before."""
        coming = self._coming.get(question)
        return self._asking(question)() if coming is None else coming.result()

    def marks(self) -> AbstractContextManager[Pieces]:
        """Give the answer to MARKS in pieces, of a great book a range of bikes at a time.

        Each piece has all of its bikes: a mark is worked out of its own bike's events.
        """
        if not is_made_by_range(self._book):
            return nullcontext(InOne(self.answer(MARKS)))
        keep = Keep(MARKS.relation, (MARKS.relation,), partial(as_it_is, MARKS.relation))
        return pieces_apart(self._book, keep, self.asked)

    def _asking(self, question: Question) -> Any:
        return asking(
            self._book,
            question.relation,
            self.asked,
            ending=question.ending,
            values=question.values,
        )
