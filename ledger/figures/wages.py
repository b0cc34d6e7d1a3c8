"""What an hour of each mechanic cost the shop when it was worked, as its terms told."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.events import Event
from ledger.kept import terms_known
from ledger.settings import BookSettings

Integers = npt.NDArray[np.int64]
NOT_TOLD = -1
"""Stands for a wage that no terms tell."""


@dataclass(frozen=True, slots=True)
class Wages:
    """Each mechanic's wages from an instant on: microseconds since 1970, minor units an hour."""

    by_mechanic: Mapping[str, tuple[Integers, Integers]]

    def of(self, mechanics: pa.ChunkedArray, at: pa.ChunkedArray) -> Integers:
        """Give the wage in force (minor units an hour) of N mechanics at N instants.

        NOT_TOLD where the terms tell none for then.
        """
        moments = np.asarray(pc.cast(at, pa.int64()).to_numpy(), dtype=np.int64)
        found = np.full(len(moments), NOT_TOLD, dtype=np.int64)
        for mechanic, (since, wage) in self.by_mechanic.items():
            rows = np.flatnonzero(pc.equal(mechanics, mechanic).fill_null(False).to_numpy())
            place = np.searchsorted(since, moments[rows], side="right") - 1
            found[rows] = np.where(place >= 0, wage[np.maximum(place, 0)], NOT_TOLD)
        return found


def wages_of(book: Book, known_seq: int | None = None) -> Wages:
    """Give the wages that a book's terms tell, as known to a seq (None for all of it)."""
    known = book.head.size if known_seq is None else known_seq
    return told_wages(terms_known(book, known), book.settings)


def told_wages(events: Iterable[Event], settings: BookSettings) -> Wages:
    """Give the wages that terms tell: from the start of their day, the latest `from_on` last."""
    terms = sorted(
        (event for event in events if event.kind == "terms_set"),
        key=lambda event: (event.data.from_on, event.seq or 0),
    )
    told: dict[str, dict[int, int]] = {}
    for event in terms:
        since = _start_of_day(date.fromisoformat(str(event.data.from_on)), settings)
        for wage in event.data.wages:
            told.setdefault(wage.mechanic, {})[since] = wage.minor_per_hour
    return Wages(
        {
            mechanic: (np.array(list(since), dtype=np.int64), np.array(list(since.values())))
            for mechanic, since in told.items()
        }
    )


def _start_of_day(day: date, settings: BookSettings) -> int:
    """Give the first instant of a day in the book's time zone, in microseconds since 1970."""
    begun = datetime.combine(day, time(), settings.zone).astimezone(UTC) - datetime(
        1970, 1, 1, tzinfo=UTC
    )
    return round(begun.total_seconds()) * 1_000_000
