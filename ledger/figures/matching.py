"""Faults of a book matched: what was found again, what of it came back, which job answers which.

Episodes and repeats are those of `ledger.figures.matched_marks`; here the shop's windows, its
words and what somebody judged are laid over them. The words are defined in DEVELOPERS.md. Joined
tags are one bike.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, partial

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.figures.come_backs import (
    MATCHED,
    WindowAsked,
    WindowsInForce,
    linked_jobs,
    matched_links,
)
from ledger.figures.fault_arrays import Flags, Floats, days, micros
from ledger.figures.fault_then import Read
from ledger.figures.matched_marks import (
    OF_FOUND,
    OF_REPAIR,
    FromMarks,
    MatchedMarks,
    nullable,
)
from ledger.kept import words_known
from ledger.queries import asked_of, whole_table
from ledger.vocabulary import Vocabulary

USES = ("fault_marks", "said_come_backs", "judged_come_backs", "distance_readings",
        "job_closings", "visit_marks", "part_moves", "observed_bikes")  # fmt: skip
"""The relations that faults are matched from."""
_DAY_US = 86_400_000_000
_OF_LATER = ["bike", "position", "system", "fault", "cause", "found_at",
             *(f"found_{name}" for name in OF_FOUND)]  # fmt: skip
_OF_EARLIER = ["cause", "found_seq", "found_at", "put_right_at", "window_days", "window_km",
               *(f"put_right_{name}" for name in OF_REPAIR)]  # fmt: skip
_BY_TIME = [("again_found_at", "ascending"), ("again_seq", "ascending")]


@dataclass(frozen=True)
class Matching:
    """Faults matched as at an instant; everything is worked out when it is first asked for."""

    read: Read
    """Gives a relation of USES by name."""
    marks: MatchedMarks
    words: Vocabulary
    windows: WindowsInForce

    @cached_property
    def found(self) -> pa.Table:
        """One episode a row, by bike, position and fault (in no promised order), then time.

        bike, position, system, fault; found_at and found_ with seq, job, actor; is_found_recorded;
        put_right_at and put_right_ with seq, job, actor, kind, treatment of the last repair;
        cleared_at; ended_at; cause; verdict; window_days and window_km of the repair's window,
        null where there is none.
        """
        found = self.marks.found
        fault, right_at = found["fault"], found["put_right_at"]
        window_days, window_km = self.windows.of(fault, micros(right_at))
        is_right = pc.is_valid(right_at)
        place = found.schema.get_field_index("fault")
        return _with(
            found.add_column(place, "system", self._systems(found["position"])),
            window_days=pc.if_else(is_right, pa.array(window_days), None),
            window_km=pc.if_else(is_right, pa.array(window_km), None),
        )

    @cached_property
    def episodes(self) -> pa.Table:
        """`found`, and further what was known then, each null where it is not known:

        found_ and put_right_ with tier (of the job), riding, part, make, model (there, or the
        one that was fitted to put it right) and km; count_jobs_carried; observed_until;
        latest_at and latest_km of the bike's last distance reading.
        """
        then = self.marks.then
        return _with(self.found, **{name: then[name] for name in then.column_names})

    @cached_property
    def again(self) -> pa.Table:
        """One episode that was found again a row, in order of again_found_at, then again_seq.

        bike, position, system, fault, cause (of the later one, else the earlier one's),
        is_cause_told; found_seq of its episode and answers_seq of the one it answers;
        first_found_at, first_put_right_at, and first_ with seq, job, actor, kind, treatment of
        that repair; again_found_at and again_ with seq, job, actor; days between; window_days and
        window_km in force; is_in_window; is_come_back: in its window and not judged otherwise, or
        found in a job that is said or judged to answer that very repair's; source: how that is
        known, null where it is none.
        """
        return _judged(self._in_window, self.jobs).sort_by(_BY_TIME).combine_chunks()

    @cached_property
    def repeats(self) -> pa.Table:
        """`again`, and further km between (null where not known), and of the episodes

        first_tier, first_riding, first_make and first_model of the repair, and again_tier.
        """
        rows = {name: self._rows_of(self.again[name]) for name in ("found_seq", "answers_seq")}
        later, first = (self.episodes.take(rows[name]) for name in ("found_seq", "answers_seq"))
        km = np.maximum(_figures(later["found_km"]) - _figures(first["put_right_km"]), 0.0)
        named = {
            f"first_{name}": first[f"put_right_{name}"]
            for name in ("tier", "riding", "make", "model")
        }
        return _with(self.again, km=nullable(km), again_tier=later["found_tier"], **named)

    @cached_property
    def jobs(self) -> pa.Table:
        """One job that answers an earlier one, or was judged not to, a row: `linked_jobs`."""
        links = matched_links(self._in_window)
        return linked_jobs(links, self.read("said_come_backs"), self.read("judged_come_backs"))

    @cached_property
    def _in_window(self) -> pa.Table:
        """Give the repeats, but for what is judged of them."""
        later = self.found.select(_OF_LATER).take(pa.array(self.marks.again))
        earlier = self.found.select(_OF_EARLIER).take(pa.array(self.marks.first))
        columns = {name: later[name] for name in ("bike", "position", "system", "fault")}
        columns |= {"cause": pc.coalesce(later["cause"], earlier["cause"])}
        columns |= {"is_cause_told": pa.array(self.marks.is_cause_told)}
        columns |= {"found_seq": later["found_seq"], "answers_seq": earlier["found_seq"]}
        columns |= {f"first_{name}": earlier[name] for name in ("found_at", "put_right_at")}
        columns |= {f"first_{name}": earlier[f"put_right_{name}"] for name in OF_REPAIR}
        columns |= {"again_found_at": later["found_at"]}
        columns |= {f"again_{name}": later[f"found_{name}"] for name in OF_FOUND}
        columns |= {name: earlier[name] for name in ("window_days", "window_km")}
        span_us = micros(later["found_at"]) - micros(earlier["put_right_at"])
        is_in = span_us <= _figures(earlier["window_days"]) * _DAY_US
        is_in |= self._is_near(_figures(earlier["window_km"]), ~is_in)
        return pa.table(columns | {"days": pa.array(days(span_us)), "is_in_window": is_in})

    def _is_near(self, window_km: Floats, is_asked: Flags) -> Flags:
        """Say which of the repeats asked about lie within the km of their windows.

        Distances are read only where there is any.
        """
        is_near, rows = np.zeros(len(is_asked), dtype=np.bool_), np.flatnonzero(is_asked)
        with np.errstate(invalid="ignore"):
            is_near[rows] = self.marks.km_between(rows) <= window_km[rows]
        return is_near

    def _rows_of(self, seqs: pa.ChunkedArray) -> pa.ChunkedArray:
        return pc.index_in(seqs, value_set=self.found["found_seq"].combine_chunks())

    def _systems(self, position: pa.ChunkedArray) -> pa.Array:
        """Give the system of the bike that each position is of."""
        encoded = position.combine_chunks().dictionary_encode()
        known, names = self.words.positions, encoded.dictionary.to_pylist()
        systems = [
            known[name].system if name in known else name.partition(".")[0] for name in names
        ]
        return pa.array(systems, pa.string()).take(encoded.indices)


def _judged(repeats: pa.Table, jobs: pa.Table) -> pa.Table:
    """Give the repeats with whether each is a come-back, and how that is known."""
    link = jobs.take(pc.index_in(repeats["again_job"], value_set=jobs["job"].combine_chunks()))
    is_denied = pc.fill_null(pc.invert(link["is_come_back"]), False)
    is_told = pc.fill_null(
        pc.and_(
            pc.not_equal(link["source"], MATCHED), pc.equal(link["answers"], repeats["first_job"])
        ),
        False,
    )
    is_back = pc.and_(pc.or_(repeats["is_in_window"], is_told), pc.invert(is_denied))
    source = pc.if_else(repeats["is_in_window"], MATCHED, link["source"])
    return _with(repeats, is_come_back=is_back, source=pc.if_else(is_back, source, None))


def _with(table: pa.Table, **columns: pa.Array | pa.ChunkedArray) -> pa.Table:
    for name, column in columns.items():
        table = table.append_column(name, column)
    return table


def _figures(column: pa.ChunkedArray) -> Floats:
    """Give figures, with NaN for null."""
    return np.asarray(column.cast(pa.float64()).to_numpy(), dtype=np.float64)


def matched(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    window: WindowAsked | None = None,
    *,
    read: Read | None = None,
    marks: MatchedMarks | None = None,
) -> Matching:
    """Give a book's faults matched as at an instant (None for now), as known to a seq.

    `window` is used in place of the shop's, as far as it goes. `read` gives the relations of USES,
    where somebody has them: of one bike, for instance; else the whole book's are read. `marks`
    are matched already, where somebody has them.
    """
    asked = asked_of(book, as_at, known_seq)
    words = words_known(book, asked.known_seq)
    if read is None:
        read = partial(whole_table, book, as_at=asked.as_at, known_seq=asked.known_seq)
    windows = WindowsInForce(words, book.settings, window)
    return Matching(read, marks or FromMarks(read), words, windows)
