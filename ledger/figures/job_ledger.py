"""One row a job with its minutes and money: what every figure of time and earning is summed from.

Whole minutes and minor units throughout. A bike's rows depend on that bike's events (and those
of tags joined with it) and on the shop's terms alone. The words are defined in DEVELOPERS.md.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.figures.advice_dearer import advice_table
from ledger.figures.come_backs import WindowsInForce
from ledger.figures.fault_arrays import (
    NONE,
    Flags,
    Integers,
    coded,
    codes_in,
    flags,
    micros,
    rows_of_jobs,
)
from ledger.figures.fault_then import Read
from ledger.figures.job_causes import caused_by
from ledger.figures.job_money import charged, offered
from ledger.figures.job_quotes import QuotedTasks, quoted_tasks
from ledger.figures.job_stretches import (
    COME_BACK,
    GOODWILL,
    KINDS,
    NO_DAY,
    QUOTED,
    Stretches,
    costed,
    first_used_days,
    local_days,
)
from ledger.figures.job_sums import Column, standard, sums
from ledger.figures.job_tasks import day_table, task_table
from ledger.figures.matched_marks import FromMarks
from ledger.figures.matching import Matching
from ledger.figures.terms_in_force import TermsInForce, terms_of
from ledger.kept import words_known
from ledger.queries import asked_of, whole_table
from ledger.settings import BookSettings
from ledger.vocabulary import Vocabulary

USES = ("job_visits", "labour_spells", "quote_lines", "charged_lines", "held_spells",
        "bike_histories", "told_advice")  # fmt: skip
"""The relations it is worked out from, beside those of `matching.USES`."""
_SECOND_US = 1_000_000
_UNPAID = (COME_BACK, GOODWILL)


@dataclass(frozen=True)
class JobLedger:
    """The tables of a book's jobs, each made when it is first asked for."""

    source: Read
    """Gives a relation by name: one of USES, or of those that faults are matched from."""
    terms: TermsInForce
    settings: BookSettings
    words: Vocabulary

    @cached_property
    def _tables(self) -> dict[str, pa.Table]:
        return {}

    def read(self, name: str) -> pa.Table:
        """Give a relation, read once."""
        if name not in self._tables:
            self._tables[name] = self.source(name)
        return self._tables[name]

    # -- what a job is known by ---------------------------------------------------------------

    @cached_property
    def _facts(self) -> pa.Table:
        order = [("bike", "ascending"), ("job", "ascending")]
        return self.read("job_visits").sort_by(order).combine_chunks()

    @cached_property
    def _bikes(self) -> pa.Array:
        return pc.unique(self._facts["bike"])

    @cached_property
    def _bike(self) -> Integers:
        """Give the place of each job's bike among them."""
        return codes_in(self._facts["bike"], self._bikes)

    def _rows(self, table: pa.Table, job: str = "job") -> Integers:
        """Give the row of the job of each row of a table; NONE where it was not opened."""
        bike = codes_in(table["bike"], self._bikes)
        return rows_of_jobs(self._facts["job"], self._bike, table[job], bike)

    @cached_property
    def count(self) -> int:
        """How many jobs."""
        return len(self._facts)

    # -- the parts it is put together from ------------------------------------------------------

    @cached_property
    def _stretches(self) -> Stretches:
        spells = self.read("labour_spells").combine_chunks()
        return costed(spells, self._rows(spells), self.terms, self.settings.zone)

    @cached_property
    def _quoted(self) -> QuotedTasks:
        lines = self.read("quote_lines").combine_chunks()
        return quoted_tasks(lines, self._quote_job, self.terms, self.settings.zone)

    @cached_property
    def _quote_job(self) -> Integers:
        return self._rows(self.read("quote_lines"))

    @cached_property
    def _closed_day(self) -> Integers:
        return local_days(self._facts["closed_at"], self.settings.zone)

    # -- one row a job --------------------------------------------------------------------------

    @cached_property
    def jobs(self) -> pa.Table:
        """One row a job that was opened, by bike, then job.

        bike, job, tier, caused_tier, is_come_back, bike_kind, is_old, known_days;
        opened_at, closed_at (null while open), closed_day; promised_at and waiting_for (null while
        work goes on) of an open one; quoted_minutes and
        found_later_quoted_minutes; minutes_ by kind. Of all its stretches minutes_without_wage,
        and wages, consumables and fixed _minor; of the unpaid ones of a come-back job (0 of any
        other) unpaid_ with minutes, without_wage, wages_minor, consumables_minor, fixed_minor and
        parts_minor; of those of the kind quoted wages_quoted_minor and without_wage_quoted.
        is_standard, standard_minor, efficiency_minor; net_ by type of line, tax_minor;
        parts_cost_minor, given_away_minor, count_lines_without_cost; tier_line_minor and
        count_tier_lines; quoted_net_yes_minor, found_later_net_yes_minor,
        found_later_net_not_yes_minor; has_found_later, is_quoted; held_minutes, of holds that
        ended; count_mechanics.
        """
        worked = self._worked
        columns: dict[str, object] = {**self._known, **self._minutes, **worked}
        columns |= {**self._standard(worked), **self._charged, **self._offered}
        columns |= {"held_minutes": self._held, "count_mechanics": self._mechanics}
        return pa.table(
            {
                name: pa.array(column) if isinstance(column, np.ndarray) else column
                for name, column in columns.items()
            }
        )

    @cached_property
    def _known(self) -> dict[str, pa.Array | pa.ChunkedArray]:
        facts, told = self._facts, self.read("bike_histories").combine_chunks()
        histories = told.take(pc.index_in(facts["bike"], value_set=told["bike"].combine_chunks()))
        used = first_used_days(histories["first_used_on"])
        is_old = used == NO_DAY
        opened = local_days(facts["opened_at"], self.settings.zone)
        known_days = pa.array(np.maximum(opened - used, 0), mask=is_old)
        tiers = coded(facts["tier"])
        caused = caused_by(self._answers, tiers.code)
        names = pa.array(tiers.names, pa.string())
        columns = {name: facts[name] for name in ("bike", "job", "tier")}
        columns |= {"caused_tier": names.take(pa.array(caused, mask=caused == NONE))}
        columns |= {"is_come_back": pa.array(self._is_come_back)}
        columns |= {"bike_kind": histories["bike_kind"]}
        columns |= {"is_old": pa.array(is_old), "known_days": known_days}
        columns |= {name: facts[name] for name in ("opened_at", "closed_at")}
        day = self._closed_day
        columns |= {"closed_day": pa.array(day, pa.int32(), mask=day == NO_DAY)}
        is_open = pc.is_null(facts["closed_at"])
        columns |= {"promised_at": pc.if_else(is_open, facts["promised_at"], None)}
        return columns | {"waiting_for": pc.if_else(is_open, self._waiting_for, None)}

    @property
    def _waiting_for(self) -> pa.ChunkedArray:
        held = self.read("held_spells")
        held = held.filter(pc.is_null(held["ended_at"])).combine_chunks()
        place = np.full(self.count, NONE, dtype=np.int64)
        rows = self._rows(held)
        place[rows[rows != NONE]] = np.flatnonzero(rows != NONE)
        return held["waiting_for"].take(pa.array(place, mask=place == NONE))

    @cached_property
    def _links(self) -> tuple[Integers, Integers]:
        """Give the rows of come-back jobs, and of the jobs each answers."""
        windows = WindowsInForce(self.words, self.settings)
        linked = Matching(self.read, FromMarks(self.read), self.words, windows).jobs
        linked = linked.filter(linked["is_come_back"])
        rows = self._rows(linked)
        answers = self._rows(linked, "answers")
        return rows[rows != NONE], answers[rows != NONE]

    @cached_property
    def _answers(self) -> Integers:
        found = np.full(self.count, NONE, dtype=np.int64)
        found[self._links[0]] = self._links[1]
        return found

    @cached_property
    def _is_come_back(self) -> Flags:
        found = np.zeros(self.count, dtype=np.bool_)
        found[self._links[0]] = True
        return found

    # -- minutes and wages ------------------------------------------------------------------------

    @cached_property
    def _minutes(self) -> dict[str, Integers]:
        quoted, of = self._quoted, self._stretches
        later = quoted.is_found_later
        columns = {
            "quoted_minutes": sums(quoted.job[~later], quoted.minutes[~later], self.count),
            "found_later_quoted_minutes": sums(
                quoted.job[later], quoted.minutes[later], self.count
            ),
        }
        for code, kind in enumerate(KINDS):
            rows = of.kind == code
            name = f"minutes_{kind.replace(' ', '_').replace('-', '_')}"
            columns[name] = sums(of.job[rows], of.minutes[rows], self.count)
        return columns

    @cached_property
    def _worked(self) -> dict[str, Integers]:
        of, count = self._stretches, self.count
        costs = {
            "minutes_without_wage": np.where(of.is_told, 0, of.minutes),
            "wages_minor": of.wages_minor,
            "consumables_minor": of.consumables_minor,
            "fixed_minor": of.fixed_minor,
        }
        columns = {name: sums(of.job, values, count) for name, values in costs.items()}
        is_quoted = of.kind == QUOTED
        untold = costs["minutes_without_wage"]
        columns["wages_quoted_minor"] = sums(of.job[is_quoted], of.wages_minor[is_quoted], count)
        columns["without_wage_quoted"] = sums(of.job[is_quoted], untold[is_quoted], count)
        is_unpaid = np.isin(of.kind, _UNPAID) & (of.job != NONE)
        is_unpaid[is_unpaid] &= self._is_come_back[of.job[is_unpaid]]
        unpaid = np.flatnonzero(is_unpaid)
        for name, values in {"minutes": of.minutes, **costs}.items():
            short = name.removeprefix("minutes_")
            columns[f"unpaid_{short}"] = sums(of.job[unpaid], values[unpaid], count)
        return columns

    def _standard(self, worked: Mapping[str, Integers]) -> dict[str, Column]:
        """Give the standard cost of each job's quoted minutes, and the efficiency variance."""
        return standard(
            self._minutes["minutes_quoted"],
            worked["wages_quoted_minor"],
            self._minutes["quoted_minutes"],
            self._closed_day,
            self.terms,
        )

    @cached_property
    def _mechanics(self) -> Integers:
        actor = coded(self.read("labour_spells")["actor"])
        width = len(actor.names) + 1
        pairs = np.unique((self._stretches.job * width + actor.code)[self._stretches.job != NONE])
        return sums(pairs // width, np.ones(len(pairs)), self.count)

    @cached_property
    def _held(self) -> Integers:
        held = self.read("held_spells")
        ended, begun = micros(held["ended_at"]), micros(held["held_at"])
        is_over = flags(pc.is_valid(held["ended_at"]))
        minutes = np.where(is_over, (ended - begun) // (60 * _SECOND_US), 0)
        return sums(self._rows(held), minutes, self.count)

    # -- money ------------------------------------------------------------------------------------

    @cached_property
    def _charged(self) -> dict[str, Integers]:
        lines = self.read("charged_lines").combine_chunks()
        return charged(lines, self._rows(lines), self._facts["tier"], self._is_come_back)

    @cached_property
    def _offered(self) -> dict[str, Column]:
        lines = self.read("quote_lines").combine_chunks()
        columns = offered(lines, self._quote_job, self.count)
        columns["has_found_later"] |= self._minutes["minutes_found_later"] > 0
        return columns

    # -- one row a task of a job, or a day ----------------------------------------------------

    @cached_property
    def tasks(self) -> pa.Table:
        """One row a task of a job, by bike.

        bike; job_place: which of its bike's jobs in `jobs` it is of, from 0; closed_day of that
        job; task (null for minutes on no task; a tier's own code where its tasks are not told:
        is_unsplit), is_comparable (what was quoted with what was worked), quoted_minutes,
        found_later_quoted_minutes, minutes_ by kind, wages_quoted_minor, without_wage_quoted;
        is_standard, standard_minor, efficiency_minor.
        """
        return task_table(self._stretches, self._quoted, self.jobs, self.terms)

    @cached_property
    def days(self) -> pa.Table:
        """One row a bike and local day that was worked on, in no promised order.

        bike, day (days since 1970-01-01), bench_minutes, charged_minutes (of the kinds quoted and
        found later), minutes_with_wage, wage_minutes (the sum of minutes x wage), fixed_minor.
        """
        return day_table(self._stretches, self.read("labour_spells")["bike"])

    @cached_property
    def holds(self) -> pa.Table:
        """One row a hold of a job: bike, job, tier, waiting_for, held_at, ended_at (null: on)."""
        held = self.read("held_spells")
        row = self._rows(held)
        tier = self._facts["tier"].combine_chunks().take(pa.array(row, mask=row == NONE))
        names = ["bike", "job", "waiting_for", "held_at", "ended_at"]
        return held.select(names).append_column("tier", tier).filter(pa.array(row != NONE))

    @cached_property
    def advice(self) -> pa.Table:
        """One row a piece of advice not taken: `advice_dearer.advice_table`."""

        def in_book(lines: pa.Table) -> pa.Table:
            return lines.filter(pa.array(self._rows(lines) != NONE))

        return advice_table(
            self.read("told_advice"), self.read("charged_lines"), self.words, in_book
        )


def job_ledger(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    read: Read | None = None,
) -> JobLedger:
    """Give the ledger of a book's jobs as at an instant (None for now), as known to a seq.

    `read` gives relations where somebody has them; else the whole book's are read.
    """
    asked = asked_of(book, as_at, known_seq)
    source = read or (lambda name: whole_table(book, name, asked.as_at, asked.known_seq))
    words = words_known(book, asked.known_seq)
    return JobLedger(source, terms_of(book, asked.known_seq), book.settings, words)
