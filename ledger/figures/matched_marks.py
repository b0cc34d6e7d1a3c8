"""Faults matched from their marks alone: what was found, put right, and found again.

All of it hangs on the events of a bike: no window, no terms and no words. Episodes and repeats
are those of `ledger.analysis.episodes` over the relation `fault_marks`. What costs more to know
(distances, parts, riding, tiers) is read and worked out when somebody asks for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis import episodes as matching
from ledger.analysis.episodes import CLEARING, OPENING, REPAIR, Episodes, Marks, Repeats
from ledger.figures.fault_arrays import NONE, Flags, Floats, Integers, micros, pairs
from ledger.figures.fault_then import Read, Then, When

OF_REPAIR = ("seq", "job", "actor", "kind", "treatment")
OF_FOUND = ("seq", "job", "actor")
_END = np.iinfo(np.int64).max
"""Comes after every seq and every instant."""


class MatchedMarks(Protocol):
    """Faults of some bikes matched from their marks."""

    @property
    def found(self) -> pa.Table:
        """One episode a row, those of a bike together: by position, fault and time.

        bike, position, fault; found_at and found_ with seq, job, actor; is_found_recorded;
        put_right_at and put_right_ with seq, job, actor, kind, treatment of the last repair;
        cleared_at; ended_at; cause; verdict.
        """

    @property
    def then(self) -> pa.Table:
        """The same rows: what was known then, each null where it is not known.

        found_ and put_right_ with tier (of the job), riding, part, make, model (there, or the
        one that was fitted to put it right) and km; count_jobs_carried; observed_until;
        latest_at and latest_km of the bike's last distance reading.
        """

    @property
    def count_jobs_carried(self) -> Integers:
        """How many jobs of the bike were closed between found and ended, of each episode."""

    @property
    def until_us(self) -> Integers:
        """The last live event of the bike of each episode: microseconds since 1970."""

    @property
    def again(self) -> Integers:
        """The episodes that were found again."""

    @property
    def first(self) -> Integers:
        """The episodes whose repairs they answer."""

    @property
    def is_cause_told(self) -> Flags:
        """Whether the causes of both are told, and so equal."""

    def km_between(self, rows: Integers) -> Floats:
        """Give the km from the repair until it was found again, of some of `again`; NaN where
        not known."""

    def km_watched(self, rows: Integers) -> Floats:
        """Give what bikes rode from the repairs of some episodes until they were last seen; NaN
        where not known."""


@dataclass(frozen=True)
class FromMarks:
    """MatchedMarks worked out from the relations, each part when it is first asked for."""

    read: Read
    """Gives a relation by name."""

    @cached_property
    def found(self) -> pa.Table:
        """One episode a row: see MatchedMarks."""
        of, marks = self._episodes, self._marks
        place, moment = ("bike", "position", "fault"), ("occurred_at",)
        found = marks.select([*place, *moment, *OF_FOUND]).take(pa.array(of.found))
        right = _taken(marks.select([*moment, *OF_REPAIR]), of.put_right)
        cleared, told, judged = (
            _taken(marks.select([name]), rows)
            for name, rows in (("occurred_at", of.cleared), ("cause", of.told),
                               ("verdict", of.judged))
        )  # fmt: skip
        columns = {"bike": found["bike"], "position": found["position"]}
        columns |= {"fault": found["fault"]}
        columns |= {"found_at": found["occurred_at"]}
        columns |= {f"found_{name}": found[name] for name in OF_FOUND}
        columns |= {"is_found_recorded": pa.array(of.is_recorded)}
        columns |= {"put_right_at": right["occurred_at"]}
        columns |= {f"put_right_{name}": right[name] for name in OF_REPAIR}
        columns |= {"cleared_at": cleared["occurred_at"]}
        columns |= {"ended_at": pc.coalesce(right["occurred_at"], cleared["occurred_at"])}
        columns |= {"cause": told["cause"], "verdict": judged["verdict"]}
        return pa.table(columns).combine_chunks()

    @cached_property
    def then(self) -> pa.Table:
        """What was known then: see MatchedMarks."""
        bike = self._found_when.bike
        latest_km, latest_at = self._then.latest(bike)
        columns = {
            **self._known("found", self._found_when, self._episodes.found),
            **self._known("put_right", self._right_when, self._episodes.put_right),
            "count_jobs_carried": pa.array(self.count_jobs_carried),
            "observed_until": self._then.observed_until(bike),
            "latest_at": latest_at,
            "latest_km": nullable(latest_km),
        }
        return pa.table(columns)

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
    def until_us(self) -> Integers:
        """The last live event of each episode's bike."""
        return micros(self._then.observed_until(self._found_when.bike))

    @property
    def again(self) -> Integers:
        """The episodes that were found again."""
        return self._repeats.again

    @property
    def first(self) -> Integers:
        """The episodes whose repairs they answer."""
        return self._repeats.first

    @property
    def is_cause_told(self) -> Flags:
        """Whether the causes of both are told."""
        return self._repeats.is_cause_told

    def km_between(self, rows: Integers) -> Floats:
        """Give the km between: see MatchedMarks. Distances are read only for some rows."""
        if not len(rows):
            return np.zeros(0)
        later = self._found_when.take(self.again[rows])
        first = self._right_when.take(self.first[rows])
        return np.asarray(self._then.km(later) - self._then.km(first))

    def km_watched(self, rows: Integers) -> Floats:
        """Give the km watched: see MatchedMarks. Distances are read only for some rows."""
        if not len(rows):
            return np.zeros(0)
        right = self._right_when.take(rows)
        last = When(right.bike, self.until_us[rows], np.full(len(rows), _END))
        return np.maximum(self._then.km(last) - self._then.km(right), 0.0)

    # -- the marks --------------------------------------------------------------------------

    @cached_property
    def _marks(self) -> pa.Table:
        marks = self.read("fault_marks").combine_chunks()
        is_treated = pc.equal(marks["kind"], "treated")
        treatment = pc.if_else(is_treated, marks["outcome"], None)
        return marks.append_column("treatment", treatment)

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
            "km": nullable(self._then.km(when)),
        }
        there = pa.array(rows != NONE)
        return {f"{prefix}_{name}": pc.if_else(there, what, None) for name, what in known.items()}


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


def _taken(marks: pa.Table, rows: Integers) -> pa.Table:
    """Give marks at rows; nulls where the row is NONE."""
    return marks.take(pa.array(rows, mask=rows == NONE))


def nullable(values: Floats) -> pa.Array:
    """Give figures with null for NaN."""
    return pa.array(values, pa.float64(), from_pandas=True)
