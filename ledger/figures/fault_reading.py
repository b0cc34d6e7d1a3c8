"""A book's, or one bike's, faults read and matched: the tables all figures are worked out from."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime

import pyarrow as pa

from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.figures.come_backs import WindowAsked
from ledger.figures.fault_tables import FaultTables
from ledger.figures.kept_faults import EPISODES, FromKept, kept_of_faults
from ledger.figures.matched_marks import MatchedMarks
from ledger.figures.matching import USES, matched
from ledger.queries import asked_of, bike_tables, whole_table

Reading = Callable[[str], pa.Table]
"""Gives a relation by name."""
Kept = Callable[[str], pa.Table | None]
"""Gives what is kept beside the book by name."""
OF_BIKE = tuple(
    dict.fromkeys(
        (*USES, "job_facts", "labour_spells", "job_bills", "observed_bikes", "open_advice")
    )
)
"""What a bike's faults are told from."""


def _nothing_kept(name: str) -> pa.Table | None:
    return None


class ReadOnce(dict[str, pa.Table]):
    """Relations by name, each read when it is first asked for and kept."""

    def __init__(self, reading: Reading, given: Mapping[str, pa.Table] | None = None) -> None:
        """`reading` gives a relation; `given` were read already."""
        super().__init__(given or {})
        self._reading = reading

    def __missing__(self, relation: str) -> pa.Table:
        """Read a relation."""
        self[relation] = self._reading(relation)
        return self[relation]


def fault_tables(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    window: WindowAsked | None = None,
) -> FaultTables:
    """Give a book's faults as at an instant (None for now), as known to a seq."""
    asked = asked_of(book, as_at, known_seq)
    kept = kept_of_faults(book, asked)
    episodes = kept(EPISODES.name)
    marks = None if episodes is None else FromKept(episodes)

    def reading(name: str) -> pa.Table:
        found = kept(name)
        return whole_table(book, name, asked.as_at, asked.known_seq) if found is None else found

    return _tables(book, asked, window, ReadOnce(reading), kept=kept, marks=marks)


def bike_fault_tables(
    book: Book,
    bike: str,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    window: WindowAsked | None = None,
) -> FaultTables:
    """Give one bike's faults, reading no other bike's events; raises UnknownBike.

    Joined tags are one bike, under the tag asked for.
    """
    asked = asked_of(book, as_at, known_seq)

    def several(*names: str) -> dict[str, pa.Table]:
        return bike_tables(book, bike, names, asked.as_at, asked.known_seq)

    given = ReadOnce(lambda name: several(name)[name], several(*OF_BIKE))
    return _tables(book, asked, window, given, bike)


def _tables(
    book: Book,
    asked: Asked,
    window: WindowAsked | None,
    given: ReadOnce,
    bike: str | None = None,
    *,
    kept: Kept = _nothing_kept,
    marks: MatchedMarks | None = None,
) -> FaultTables:
    return FaultTables(
        book=book,
        as_at=asked.as_at,
        today=book.settings.local(asked.as_at).date(),
        known_seq=asked.known_seq,
        window=window,
        matching=matched(
            book,
            asked.as_at,
            asked.known_seq,
            window=window,
            read=given.__getitem__,
            marks=marks,
        ),
        bike=bike,
        given=given,
        kept=kept,
    )
