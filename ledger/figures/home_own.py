"""Somebody's own work at the bench in some days: their minutes by job, and nobody else's."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property

import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.figures.home_keeps import OWN_WORK, rows_now
from ledger.figures.job_stretches import local_days
from ledger.figures.terms_in_force import day_number


@dataclass(frozen=True)
class OwnWork:
    """The stretches of one mechanic."""

    book: Book
    mechanic: str | None

    @cached_property
    def _stretches(self) -> pa.Table:
        work = rows_now(self.book, OWN_WORK)
        own = work.filter(pc.equal(work["actor"], self.mechanic or "")).combine_chunks()
        day = local_days(own["occurred_at"], self.book.settings.zone)
        return own.append_column("day", pa.array(day))

    def minutes(self, first: date, last: date) -> dict[tuple[str, str], int]:
        """Give their minutes by bike and job, of stretches that ended from one day to another.

        Minutes on no job are left out.
        """
        day = self._stretches["day"]
        is_in = pc.and_(
            pc.greater_equal(day, day_number(first)), pc.less_equal(day, day_number(last))
        )
        own = self._stretches.filter(pc.and_(is_in, pc.is_valid(self._stretches["job"])))
        found = own.group_by(["bike", "job"]).aggregate([("minutes", "sum")])
        return {(row["bike"], row["job"]): row["minutes_sum"] for row in found.to_pylist()}
