"""What is kept of a book's faults, so that its front is read and not worked out each time.

Windows, words and wages are not in it: terms change them, and the page asks for others.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.figures.fault_arrays import NONE, Flags, Floats, Integers, flags, floats, micros
from ledger.figures.fault_costs import given_away
from ledger.figures.fault_preventive import with_billed
from ledger.figures.fault_spells import USES as OF_SPELLS
from ledger.figures.fault_spells import spells_of
from ledger.figures.fault_tables import UNPAID_KINDS
from ledger.figures.matched_marks import FromMarks, nullable
from ledger.kept import Keep, Read, as_it_is, kept

_FOUND = ("bike", "position", "fault", "found_at", "found_seq", "found_job", "found_actor",
          "is_found_recorded", "put_right_at", "put_right_seq", "put_right_job",
          "put_right_actor", "put_right_kind", "put_right_treatment", "cleared_at", "ended_at",
          "cause", "verdict")  # fmt: skip
_CODE = tuple(
    f"ledger.{module}"
    for module in (
        "analysis.distances", "analysis.episodes", "figures.fault_arrays", "figures.fault_costs",
        "figures.fault_distances", "figures.fault_preventive", "figures.fault_spells",
        "figures.fault_then", "figures.kept_faults",
        "figures.matched_marks", "kept.keep", "kept.reading",
    )
)  # fmt: skip


def _episodes(read: Read) -> pa.Table:
    """Give every episode with what was known then, and what it answers.

    `answers_rows_before`: how many rows above stands the episode whose repair it answers, null
    where it was not found again. km_watched: of a repair, until the bike was last seen.
    """
    marks = FromMarks(read)
    found, then = marks.found, marks.then
    count = len(found)
    before, is_told = np.full(count, NONE, dtype=np.int64), np.zeros(count, dtype=np.bool_)
    before[marks.again] = marks.again - marks.first
    is_told[marks.again] = marks.is_cause_told
    right, watched = np.flatnonzero(found["put_right_at"].is_valid()), np.full(count, np.nan)
    watched[right] = marks.km_watched(right)
    return pa.table(
        {
            **{name: found[name] for name in _FOUND},
            **{name: then[name] for name in then.column_names},
            "answers_rows_before": pa.array(before, mask=before == NONE),
            "is_cause_told": pa.array(is_told),
            "km_watched": nullable(watched),
        }
    )


def _unpaid_labour(read: Read) -> pa.Table:
    labour = read("labour_spells")
    labour = labour.filter(pc.is_in(labour["minutes_kind"], pa.array(UNPAID_KINDS)))
    return labour.select(["bike", "job", "actor", "minutes", "minutes_kind", "occurred_at"])


def _given_lines(read: Read) -> pa.Table:
    return given_away(read("job_bills"))


def _openings(read: Read) -> pa.Table:
    return read("job_openings").select(["bike", "job", "tier", "opened_at"])


def _spells(read: Read) -> pa.Table:
    table = spells_of(read)
    return table.select(["bike", *(name for name in table.column_names if name != "bike")])


def _preventive(read: Read) -> pa.Table:
    work = with_billed(read("preventive_work"), read("job_bills"))
    return work.select(["bike", "job", "position", "treatment", "occurred_at", "is_billed"])


def _looks(read: Read) -> pa.Table:
    return read("position_looks").select(["bike", "position", "occurred_at"])


EPISODES = Keep(
    "fault_episodes",
    ("fault_marks", "distance_readings", "job_closings", "visit_marks", "part_moves",
     "observed_bikes"),
    _episodes, _CODE,
)  # fmt: skip
UNPAID_LABOUR = Keep("unpaid_labour", ("labour_spells",), _unpaid_labour, _CODE)
GIVEN_LINES = Keep("given_lines", ("job_bills",), _given_lines, _CODE)
OPENINGS = Keep("job_openings", ("job_openings",), _openings, _CODE)
SAID, JUDGED = (
    Keep(name, (name,), partial(as_it_is, name), _CODE)
    for name in ("said_come_backs", "judged_come_backs")
)
OF_HOW_SURE = (
    *(
        Keep(name, (name,), partial(as_it_is, name), _CODE)
        for name in ("observed_bikes", "job_facts", "distance_readings")
    ),
    Keep("watched_spells", OF_SPELLS, _spells, _CODE),
    Keep("preventive_treatments", ("preventive_work", "job_bills"), _preventive, _CODE),
    Keep("position_looks", ("position_looks",), _looks, _CODE),
)
"""What the curves, trends and rates behind the front read whole; made when first asked for."""
OF_FAULTS = (EPISODES, UNPAID_LABOUR, GIVEN_LINES, OPENINGS, SAID, JUDGED)
"""What the front of a book's faults is read from."""


def kept_of_faults(book: Book, asked: Asked) -> Callable[[str], pa.Table | None]:
    """Give what gives a kept table by its name, as at an instant, as known to a seq."""
    by_name = {keep.name: keep for keep in (*OF_FAULTS, *OF_HOW_SURE)}
    return lambda name: kept(book, by_name[name], asked) if name in by_name else None


@dataclass(frozen=True)
class FromKept:
    """MatchedMarks as they are kept: rows of EPISODES."""

    table: pa.Table

    @cached_property
    def found(self) -> pa.Table:
        """One episode a row: see MatchedMarks."""
        return self.table.select(_FOUND)

    @cached_property
    def then(self) -> pa.Table:
        """What was known then: see MatchedMarks."""
        own = {*_FOUND, "answers_rows_before", "is_cause_told", "km_watched"}
        return self.table.select([name for name in self.table.column_names if name not in own])

    @cached_property
    def count_jobs_carried(self) -> Integers:
        """How many jobs were closed between found and ended."""
        return _whole_numbers(self.table["count_jobs_carried"])

    @cached_property
    def until_us(self) -> Integers:
        """The last live event of each episode's bike."""
        return micros(self.table["observed_until"])

    @cached_property
    def _before(self) -> Integers:
        return _whole_numbers(self.table["answers_rows_before"].fill_null(NONE))

    @cached_property
    def again(self) -> Integers:
        """The episodes that were found again."""
        return np.flatnonzero(self._before != NONE)

    @cached_property
    def first(self) -> Integers:
        """The episodes whose repairs they answer."""
        return np.asarray(self.again - self._before[self.again])

    @cached_property
    def is_cause_told(self) -> Flags:
        """Whether the causes of both are told."""
        return flags(self.table["is_cause_told"])[self.again]

    def km_between(self, rows: Integers) -> Floats:
        """Give the km between: see MatchedMarks."""
        later, first = (floats(self.table[name]) for name in ("found_km", "put_right_km"))
        return np.asarray(later[self.again[rows]] - first[self.first[rows]])

    def km_watched(self, rows: Integers) -> Floats:
        """Give the km watched: see MatchedMarks."""
        return floats(self.table["km_watched"])[rows]


def _whole_numbers(column: pa.ChunkedArray) -> Integers:
    return np.asarray(column.combine_chunks(), dtype=np.int64)
