"""Faults of a book matched: what was found again, what of it came back, which job answers which.

Episodes and repeats are those of `ledger.analysis.episodes` over the relation `fault_marks`; the
words are defined in DEVELOPERS.md. What costs more to know (distances, parts, riding, tiers) is
read and worked out when somebody asks for it. Joined tags are one bike.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis import episodes as matching
from ledger.analysis.episodes import CLEARING, OPENING, REPAIR, Episodes, Marks, Repeats
from ledger.book import Book
from ledger.figures.come_backs import MATCHED, WindowsInForce, linked_jobs, matched_links
from ledger.figures.fault_arrays import NONE, Flags, Floats, Integers, days, micros, pairs
from ledger.figures.fault_then import Read, Then, When
from ledger.queries import asked_of, whole_table
from ledger.vocabulary import Vocabulary, Window

USES = ("fault_marks", "said_come_backs", "judged_come_backs", "distance_readings",
        "job_closings", "visit_marks", "part_moves", "observed_bikes")  # fmt: skip
"""The relations that faults are matched from."""
_DAY_US = 86_400_000_000
_OF_REPAIR = ("seq", "job", "actor", "kind", "treatment")
_OF_FOUND = ("seq", "job", "actor")
_BY_TIME = [("again_found_at", "ascending"), ("again_seq", "ascending")]


@dataclass(frozen=True)
class Matching:
    """Faults matched as at an instant; everything is worked out when it is first asked for."""

    read: Read
    """Gives a relation of USES by name."""
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
        of, marks = self._episodes, self._marks
        place, moment = ("bike", "position", "fault"), ("occurred_at",)
        found = marks.select([*place, *moment, *_OF_FOUND]).take(pa.array(of.found))
        right = _taken(marks.select([*moment, *_OF_REPAIR]), of.put_right)
        cleared, told, judged = (
            _taken(marks.select([name]), rows)
            for name, rows in (("occurred_at", of.cleared), ("cause", of.told),
                               ("verdict", of.judged))
        )  # fmt: skip
        is_right = pc.is_valid(right["seq"])
        window_days, window_km = self.windows.of(found["fault"], micros(right["occurred_at"]))
        columns = {"bike": found["bike"], "position": found["position"]}
        columns |= {"system": self._systems(found["position"]), "fault": found["fault"]}
        columns |= {"found_at": found["occurred_at"]}
        columns |= {f"found_{name}": found[name] for name in _OF_FOUND}
        columns |= {"is_found_recorded": pa.array(of.is_recorded)}
        columns |= {"put_right_at": right["occurred_at"]}
        columns |= {f"put_right_{name}": right[name] for name in _OF_REPAIR}
        columns |= {"cleared_at": cleared["occurred_at"]}
        columns |= {"ended_at": pc.coalesce(right["occurred_at"], cleared["occurred_at"])}
        columns |= {"cause": told["cause"], "verdict": judged["verdict"]}
        columns |= {"window_days": pc.if_else(is_right, pa.array(window_days), None)}
        columns |= {"window_km": pc.if_else(is_right, pa.array(window_km), None)}
        return pa.table(columns).combine_chunks()

    @cached_property
    def episodes(self) -> pa.Table:
        """`found`, and further what was known then, each null where it is not known:

        found_ and put_right_ with tier (of the job), riding, part, make, model (there, or the
        one that was fitted to put it right) and km; count_jobs_carried; observed_until;
        latest_at and latest_km of the bike's last distance reading.
        """
        bike = self._found_when.bike
        latest_km, latest_at = self._then.latest(bike)
        return _with(
            self.found,
            **self._known("found", self._found_when, self._episodes.found),
            **self._known("put_right", self._right_when, self._episodes.put_right),
            count_jobs_carried=pa.array(self.count_jobs_carried),
            observed_until=self._then.observed_until(bike),
            latest_at=latest_at,
            latest_km=_nullable(latest_km),
        )

    @cached_property
    def count_jobs_carried(self) -> Integers:
        """How many jobs of the bike were closed between found and ended, of each episode."""
        ended = np.where(
            self._episodes.put_right == NONE, self._episodes.cleared, self._episodes.put_right
        )
        until = self._when(ended)
        late = np.where(ended == NONE, np.iinfo(np.int64).max, until.at)
        until = When(self._found_when.bike, late, until.seq)
        return self._then.count_closed(until) - self._then.count_closed(self._found_when)

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
        return _with(self.again, km=_nullable(km), again_tier=later["found_tier"], **named)

    @cached_property
    def jobs(self) -> pa.Table:
        """One job that answers an earlier one, or was judged not to, a row: `linked_jobs`."""
        links = matched_links(self._in_window)
        return linked_jobs(links, self.read("said_come_backs"), self.read("judged_come_backs"))

    # -- the marks --------------------------------------------------------------------------

    @cached_property
    def _marks(self) -> pa.Table:
        marks = self.read("fault_marks").combine_chunks()
        is_treated = pc.equal(marks["kind"], "treated")
        return _with(marks, treatment=pc.if_else(is_treated, marks["outcome"], None))

    @cached_property
    def _bikes(self) -> tuple[pa.Array, Integers]:
        """Every bike with a mark, and the bike of each mark as its place among them."""
        encoded = self._marks["bike"].combine_chunks().dictionary_encode()
        return encoded.dictionary, np.asarray(encoded.indices, dtype=np.int64)

    @cached_property
    def _codes(self) -> Marks:
        marks, bike = self._marks, self._bikes[1]
        position, fault = (_coded(marks[name]) for name in ("position", "fault"))
        return Marks(
            group=pairs(pairs(bike, position), fault),
            at=micros(marks["occurred_at"]),
            number=np.asarray(marks["seq"].to_numpy(), dtype=np.int64),
            role=_roles(marks),
            visit=_coded(marks["job"]),
            cause=_coded(marks["cause"]),
            is_look=np.asarray(pc.equal(marks["kind"], "inspected")),
        )

    @cached_property
    def _episodes(self) -> Episodes:
        return matching.episodes_of(self._codes)

    @cached_property
    def _repeats(self) -> Repeats:
        return matching.repeats_of(self._codes, self._episodes)

    @cached_property
    def _in_window(self) -> pa.Table:
        """Give the repeats, but for what is judged of them."""
        again, first = self._repeats.again, self._repeats.first
        later, earlier = (self.found.take(pa.array(rows)) for rows in (again, first))
        columns = {name: later[name] for name in ("bike", "position", "system", "fault")}
        columns |= {"cause": pc.coalesce(later["cause"], earlier["cause"])}
        columns |= {"is_cause_told": pa.array(self._repeats.is_cause_told)}
        columns |= {"found_seq": later["found_seq"], "answers_seq": earlier["found_seq"]}
        columns |= {f"first_{name}": earlier[name] for name in ("found_at", "put_right_at")}
        columns |= {f"first_{name}": earlier[f"put_right_{name}"] for name in _OF_REPAIR}
        columns |= {"again_found_at": later["found_at"]}
        columns |= {f"again_{name}": later[f"found_{name}"] for name in _OF_FOUND}
        columns |= {name: earlier[name] for name in ("window_days", "window_km")}
        span_us = micros(later["found_at"]) - micros(earlier["put_right_at"])
        is_in = span_us <= _figures(earlier["window_days"]) * _DAY_US
        is_in |= self._is_near(_figures(earlier["window_km"]), ~is_in)
        return pa.table(columns | {"days": pa.array(days(span_us)), "is_in_window": is_in})

    def _is_near(self, window_km: Floats, is_asked: Flags) -> Flags:
        """Say which of the repeats asked about lie within the km of their windows.

        Distances are read only where there is any.
        """
        is_near = np.zeros(len(is_asked), dtype=np.bool_)
        rows = np.flatnonzero(is_asked)
        if len(rows):
            later = self._found_when.take(self._repeats.again[rows])
            first = self._right_when.take(self._repeats.first[rows])
            with np.errstate(invalid="ignore"):
                is_near[rows] = self._then.km(later) - self._then.km(first) <= window_km[rows]
        return is_near

    # -- what was known then -----------------------------------------------------------------

    @cached_property
    def _then(self) -> Then:
        return Then(self.read, self._bikes[0])

    def _when(self, rows: Integers) -> When:
        """Give the moments of marks; of no mark, those of the first one."""
        marks, rows = self._codes, np.maximum(rows, 0)
        return When(self._bikes[1], marks.at, marks.number).take(rows)

    @cached_property
    def _found_when(self) -> When:
        return self._when(self._episodes.found)

    @cached_property
    def _right_when(self) -> When:
        return self._when(self._episodes.put_right)

    def _known(self, prefix: str, when: When, rows: Integers) -> dict[str, pa.Array]:
        """Give what was known at marks, each null where there is no mark."""
        marks = _taken(self._marks, rows)
        position = self.found["position"].combine_chunks()
        is_fitting = np.asarray(pc.fill_null(pc.equal(marks["kind"], "part_fitted"), False))
        known = {
            "tier": self._then.tier(when, marks["job"].combine_chunks()),
            "riding": self._then.riding(when),
            **self._then.part(when, position, is_fitting),
            "km": _nullable(self._then.km(when)),
        }
        there = pa.array(rows != NONE)
        return {f"{prefix}_{name}": pc.if_else(there, what, None) for name, what in known.items()}

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


def _coded(column: pa.ChunkedArray) -> Integers:
    """Give a column of text as codes in no order; NONE for null."""
    codes = column.combine_chunks().dictionary_encode().indices.fill_null(NONE)
    return np.asarray(codes, dtype=np.int64)


def _roles(marks: pa.Table) -> Integers:
    """Give what each mark does; whatever is neither a look nor a search for a cause is work."""
    is_look, is_search = (
        np.asarray(pc.equal(marks["kind"], kind)) for kind in ("inspected", "diagnosed")
    )
    is_fine = np.asarray(pc.fill_null(pc.equal(marks["verdict"], "within limit"), False))
    chosen = [is_look & is_fine, is_look | is_search]
    return np.select(chosen, [CLEARING, OPENING], REPAIR).astype(np.int64)


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


def _taken(marks: pa.Table, rows: Integers) -> pa.Table:
    """Give marks at rows; nulls where the row is NONE."""
    return marks.take(pa.array(rows, mask=rows == NONE))


def _with(table: pa.Table, **columns: pa.Array | pa.ChunkedArray) -> pa.Table:
    for name, column in columns.items():
        table = table.append_column(name, column)
    return table


def _nullable(values: Floats) -> pa.Array:
    return pa.array(values, pa.float64(), from_pandas=True)


def _figures(column: pa.ChunkedArray) -> Floats:
    """Give figures, with NaN for null."""
    return np.asarray(column.cast(pa.float64()).to_numpy(), dtype=np.float64)


def matched(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    window: Window | None = None,
    *,
    read: Read | None = None,
) -> Matching:
    """Give a book's faults matched as at an instant (None for now), as known to a seq.

    `window` is used in place of every window of the shop's. `read` gives the relations of USES,
    where somebody has them: of one bike, for instance; else the whole book's are read.
    """
    asked = asked_of(book, as_at, known_seq)
    words = book.vocabulary_known(asked.known_seq)
    return Matching(
        read or (lambda name: whole_table(book, name, asked.as_at, asked.known_seq)),
        words,
        WindowsInForce(words, book.settings, window),
    )
