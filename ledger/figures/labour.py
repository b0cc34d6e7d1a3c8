"""Minutes against quote, of a book: the door to all its figures of time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from typing import Any

import numpy as np
import pyarrow.compute as pc

from ledger.asking import Asker, require
from ledger.book import Book
from ledger.figures.columns import Columns, between
from ledger.figures.fault_arrays import NONE, Coded, flags
from ledger.figures.job_sums import sums
from ledger.figures.job_tables import JobTables, job_tables
from ledger.figures.job_tasks import MINUTES as TASK_MINUTES
from ledger.figures.labour_rows import Grouped, labour_rows, months
from ledger.figures.labour_shapes import (
    FoundLater,
    FoundLaterRow,
    JobWaterfall,
    KindMinutes,
    LabourBy,
    LabourCover,
    LabourJob,
    LabourRow,
    LabourVariances,
    Period,
    RatioSpread,
)
from ledger.figures.labour_words import LabourWords
from ledger.figures.period import period_of, span_of
from ledger.queries import asked_of

_KEYS: dict[LabourBy, str] = {"tier": "tier", "task": "task", "kind": "bike_kind"}


@dataclass(frozen=True)
class BookLabour:
    """Minutes of the jobs closed in a period; each figure is worked out when it is asked for."""

    book: Book
    period: Period
    as_at: datetime
    known_seq: int
    ledger: JobTables

    @cached_property
    def words(self) -> LabourWords:
        """How all of it is worded."""
        return LabourWords(self.book.settings, self.ledger.words)

    # -- what is in it ------------------------------------------------------------------------

    @cached_property
    def _jobs(self) -> Columns:
        span = span_of(self.period)
        return between(self.ledger.jobs, "closed_day", span.first, span.last)

    @cached_property
    def _all_tasks(self) -> Columns:
        span = span_of(self.period)
        return between(self.ledger.tasks, "closed_day", span.first, span.last)

    @cached_property
    def _tasks(self) -> Columns:
        """Give tasks of a known name that have minutes, and are no tier as a whole."""
        of = self._all_tasks
        minutes = sum(of[name] for name in TASK_MINUTES)
        is_named = ~of.flags("is_unsplit") & ~flags(pc.is_null(of.taken("task")))
        return of.kept(is_named & (minutes > 0))

    def _rows_of(self, by: LabourBy) -> tuple[Columns, Coded]:
        of = self._tasks if by == "task" else self._jobs
        if by == "month":
            return of, months(of["closed_day"])
        return of, of.codes(_KEYS[by])

    # -- rows ---------------------------------------------------------------------------------

    def _grouped(self, by: LabourBy | None) -> Grouped:
        return Grouped(by, self.period, self.ledger.terms, self.words)

    @cached_property
    def total(self) -> LabourRow:
        """All jobs."""
        nothing = Coded((), np.full(len(self._jobs), NONE, dtype=np.int64))
        found = labour_rows(self._jobs, nothing, self._grouped(None))
        return found[0] if found else self._nothing

    @property
    def _nothing(self) -> LabourRow:
        ratio = RatioSpread(0, None, None, None, None, None, 0, None, None, None)
        none = LabourVariances(0, 0, 0, 0, 0, 0, 0, 0, 0)
        rate = self.ledger.terms.posted_rate_minor(span_of(self.period).last)
        return LabourRow(None, "all", 0, ratio, KindMinutes(), 0, 0, none, 0, None, rate, 0, None,
                         self.words.ratio(ratio))  # fmt: skip

    def by(self, by: LabourBy) -> tuple[LabourRow, ...]:
        """Give a row a tier, task, month or kind of bike: most jobs first, months in order."""
        if by not in self._by:
            rows = labour_rows(*self._rows_of(by), self._grouped(by))
            if by != "month":
                rows.sort(key=lambda row: (row.key is None, -row.count_jobs, row.label))
            self._by[by] = tuple(rows)
        return self._by[by]

    @cached_property
    def _by(self) -> dict[LabourBy, tuple[LabourRow, ...]]:
        return {}

    @cached_property
    def found_later(self) -> FoundLater:
        """Work found after the first quote."""
        jobs, of = self._jobs, self._all_tasks
        count, closed = int(jobs.flags("has_found_later").sum()), len(jobs)
        found = FoundLater(
            count_jobs=count,
            count_jobs_closed=closed,
            share=count / closed if closed else None,
            quoted_minutes=jobs.total("found_later_quoted_minutes"),
            minutes=jobs.total("minutes_found_later"),
            net_yes_minor=jobs.total("found_later_net_yes_minor"),
            net_not_yes_minor=jobs.total("found_later_net_not_yes_minor"),
            rows=self._found_later_rows(of),
            line="",
        )
        return FoundLater(
            **{name: getattr(found, name) for name in found.__slots__ if name != "line"},
            line=self.words.found_later(found),
        )

    def _found_later_rows(self, of: Columns) -> tuple[FoundLaterRow, ...]:
        of = of.kept((of["found_later_quoted_minutes"] > 0) | (of["minutes_found_later"] > 0))
        key = of.codes("task")
        count = len(key.names)
        quoted, worked, jobs = (
            sums(key.code, values, count)
            for values in (of["found_later_quoted_minutes"], of["minutes_found_later"],
                           np.ones(len(of)))
        )  # fmt: skip
        rows = [
            FoundLaterRow(name, self.words.task(name), int(jobs[place]), int(quoted[place]),
                          int(worked[place]))
            for place, name in enumerate(key.names)
        ]  # fmt: skip
        return tuple(sorted(rows, key=lambda row: (-row.minutes, -row.quoted_minutes, row.label)))

    # -- jobs ---------------------------------------------------------------------------------

    def jobs(
        self, by: LabourBy | None = None, key: str | None = None, limit: int | None = None
    ) -> tuple[LabourJob, ...]:
        """Give the jobs behind a row (all jobs for None), furthest over the quote first."""
        of = self._jobs
        if by is not None:
            of, codes = self._rows_of(by)
            wanted = NONE if key is None else codes.names.index(key) if key in codes.names else -2
            of = of.kept(codes.code == wanted)
        actual, quoted = of["minutes_quoted"], of["quoted_minutes"]
        is_both = (actual > 0) & (quoted > 0)
        if by == "task":
            is_both &= of.flags("is_comparable")
        ratio = np.where(is_both, actual / np.maximum(quoted, 1), -1.0)
        order = np.lexsort((of["closed_day"], -ratio))[:limit]
        rows = of.at(order)
        if by == "task":
            whose = Columns(self.ledger.jobs).at(self.ledger.row_of_job[of.rows[order]])
            rows = [job | row for job, row in zip(whose, rows, strict=True)]
        return tuple(self._job(row, by == "task") for row in rows)

    def _job(self, row: dict[str, Any], is_task: bool) -> LabourJob:
        actual, quoted = row["minutes_quoted"], row["quoted_minutes"]
        variance = row["wages_quoted_minor"] - row["standard_minor"]
        is_both = actual > 0 and quoted > 0 and row.get("is_comparable", True)
        return LabourJob(
            bike=str(row["bike"]),
            job=str(row["job"]),
            tier=row["tier"],
            tier_label=self.words.tier(row["tier"]),
            closed_at=row["closed_at"],
            quoted_minutes=quoted,
            minutes=KindMinutes(
                row["minutes_quoted"], row["minutes_found_later"],
                row["minutes_come_back"], row["minutes_goodwill"],
            ),
            ratio=actual / quoted if is_both else None,
            total_variance_minor=variance if row["is_standard"] and not is_task else None,
            minutes_without_wage=row["without_wage_quoted"],
        )  # fmt: skip

    def waterfall(self, job: str, bike: str | None = None) -> JobWaterfall:
        """Give one job from quoted to actual.

        `bike` tells jobs of one name apart. Raises WrongUse for a job that is not there, or one
        of several.
        """
        from ledger.figures.labour_waterfall import waterfall

        return waterfall(self, job, bike)

    # -- in words -----------------------------------------------------------------------------

    @cached_property
    def cover(self) -> LabourCover:
        """What the figures rest on, and what they leave out."""
        of, tasks = self._jobs, self._all_tasks
        unsplit = tasks.kept(tasks.flags("is_unsplit"))
        untold = tasks.kept(flags(pc.is_null(tasks.taken("task"))))
        is_quoted, is_worked = of["quoted_minutes"] > 0, of["minutes_quoted"] > 0
        return LabourCover(
            count_closed=len(of),
            count_open=self.ledger.jobs["closed_at"].null_count,
            count_unquoted=int((~is_quoted).sum()),
            count_unworked=int((is_quoted & ~is_worked).sum()),
            minutes_unsplit=unsplit.total("quoted_minutes"),
            minutes_without_wage=of.total("minutes_without_wage"),
            minutes_without_task=sum(untold.total(f"minutes_{kind}") for kind in
                                     ("quoted", "found_later", "come_back", "goodwill")),
        )  # fmt: skip

    @cached_property
    def front(self) -> str:
        """The finding in a sentence."""
        return self.words.front(self.total)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """What the finding rests on and leaves out, a sentence each."""
        return tuple(self.words.notes(self.total, self.cover)) if len(self._jobs) else ()


def labour_of(
    book: Book,
    since: date | None = None,
    until: date | None = None,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    asker: Asker,
) -> BookLabour:
    """Give the minutes of jobs closed from `since` to `until` (local days, both included).

    As at an instant (None for now), as known to a seq. Without days, the 12 months up to it.
    All of them are minutes and wages of everybody at the bench: raises NotForRole for whoever does
    not see colleagues' figures; WrongUse where `until` is before `since`.
    """
    require(asker, "colleagues", "What everybody worked")
    asked = asked_of(book, as_at, known_seq)
    period = period_of(book, since, until, asked.as_at)
    ledger = job_tables(book, asked.as_at, asked.known_seq)
    return BookLabour(book, period, asked.as_at, asked.known_seq, ledger)
