"""The tables of a book's jobs as figures read them: kept beside the book, or worked out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import pyarrow as pa

from ledger.book import Book
from ledger.figures.fault_arrays import Integers
from ledger.figures.job_ledger import JobLedger, job_ledger
from ledger.figures.job_tasks import rows_of_tasks
from ledger.figures.kept_jobs import kept_of_jobs
from ledger.figures.terms_in_force import TermsInForce
from ledger.queries import asked_of
from ledger.settings import BookSettings
from ledger.vocabulary import Vocabulary


@dataclass(frozen=True)
class JobTables:
    """What `JobLedger` gives, each table read or made when it is first asked for."""

    ledger: JobLedger
    kept: Callable[[str], pa.Table | None]
    """Gives a table by name as it is kept beside the book; None where it is not."""

    @property
    def terms(self) -> TermsInForce:
        """The shop's terms by day."""
        return self.ledger.terms

    @property
    def settings(self) -> BookSettings:
        """The book's settings."""
        return self.ledger.settings

    @property
    def words(self) -> Vocabulary:
        """The book's words."""
        return self.ledger.words

    def _table(self, name: str) -> pa.Table:
        found = self.kept(name)
        return getattr(self.ledger, name) if found is None else found

    @cached_property
    def jobs(self) -> pa.Table:
        """One row a job."""
        return self._table("jobs")

    @cached_property
    def tasks(self) -> pa.Table:
        """One row a task of a job."""
        return self._table("tasks")

    @cached_property
    def row_of_job(self) -> Integers:
        """Of each row of `tasks` the row of its job in `jobs`."""
        return rows_of_tasks(self.tasks, self.jobs)

    @cached_property
    def days(self) -> pa.Table:
        """One row a bike and local day that was worked on."""
        return self._table("days")

    @cached_property
    def holds(self) -> pa.Table:
        """One row a hold of a job."""
        return self._table("holds")

    @cached_property
    def advice(self) -> pa.Table:
        """One row a piece of advice not taken."""
        return self._table("advice")


def job_tables(
    book: Book, as_at: datetime | None = None, known_seq: int | None = None
) -> JobTables:
    """Give the tables of a book's jobs as at an instant (None for now), as known to a seq."""
    asked = asked_of(book, as_at, known_seq)
    ledger = job_ledger(book, asked.as_at, asked.known_seq)
    return JobTables(ledger, kept_of_jobs(book, asked, ledger))
