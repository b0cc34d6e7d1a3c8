"""The visits a bike made before: what a new one may come back from."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from ledger.bench.scene import scene_of

if TYPE_CHECKING:
    from ledger.book import Book


@dataclass(frozen=True, slots=True)
class EarlierVisit:
    """One job that was opened on the bike before."""

    job: str
    tier: str | None
    opened_at: datetime


def earlier_visits(book: Book, tag: str, most: int = 6) -> tuple[EarlierVisit, ...]:
    """Give the last jobs of a bike that were closed, the newest first; raises UnknownBike."""
    closed = [
        EarlierVisit(one.job, one.tier, one.opened_at)
        for one in scene_of(book, tag).state.jobs.values()
        if one.is_closed and one.opened_at is not None
    ]
    closed.sort(key=lambda one: (one.opened_at, one.job), reverse=True)
    return tuple(closed[:most])
