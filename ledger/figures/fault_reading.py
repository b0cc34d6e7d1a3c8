"""A book's, or one bike's, faults read and matched: the tables all figures are worked out from."""

from __future__ import annotations

from datetime import datetime

from ledger.book import Book
from ledger.figures.fault_tables import FaultTables
from ledger.figures.matching import USES, matched
from ledger.queries import asked_of, bike_tables
from ledger.vocabulary import Window

OF_BIKE = (*USES, "job_facts", "labour_spells", "job_bills", "observed_bikes", "open_advice")
"""What a bike's faults are told from."""


def fault_tables(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    window: Window | None = None,
) -> FaultTables:
    """Give a book's faults as at an instant (None for now), as known to a seq."""
    asked = asked_of(book, as_at, known_seq)
    return FaultTables(
        book=book,
        as_at=asked.as_at,
        today=book.settings.local(asked.as_at).date(),
        known_seq=asked.known_seq,
        window=window,
        matching=matched(book, asked.as_at, asked.known_seq, window=window),
    )


def bike_fault_tables(
    book: Book,
    bike: str,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    window: Window | None = None,
) -> FaultTables:
    """Give one bike's faults, reading no other bike's events; raises UnknownBike.

    Joined tags are one bike, under the tag asked for.
    """
    asked = asked_of(book, as_at, known_seq)
    given = bike_tables(book, bike, OF_BIKE, asked.as_at, asked.known_seq)
    return FaultTables(
        book=book,
        as_at=asked.as_at,
        today=book.settings.local(asked.as_at).date(),
        known_seq=asked.known_seq,
        window=window,
        matching=matched(book, asked.as_at, asked.known_seq, window=window, read=given.__getitem__),
        bike=bike,
        given=given,
    )
