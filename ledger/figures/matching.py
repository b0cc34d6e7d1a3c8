"""Faults of a book matched: what was found again, what of it came back, which job answers which.

The relations say what an episode is and what was found again; here the distances between are
worked out and the windows applied. Words are defined in DEVELOPERS.md. Joined tags are one bike.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.figures.come_backs import MATCHED, WindowsInForce, linked_jobs, matched_links
from ledger.figures.fault_arrays import Floats, Integers, codes_in, days, floats, micros
from ledger.figures.fault_distances import BikeDistances
from ledger.queries import asked_of, whole_table
from ledger.vocabulary import Vocabulary, Window

USES = ("fault_episodes", "fault_repeats", "said_come_backs", "distance_readings")
"""The relations that faults are matched from."""
_DAY_US = 86_400_000_000
_SAME = ("shop", "bike", "position", "system", "fault")
_BOTH = ("found_seq", "answers_seq")
_OF_REPAIR = ("seq", "job", "actor", "kind", "treatment", "tier", "riding", "make", "model")
_OF_FOUND = ("seq", "job", "actor", "tier")


@dataclass(frozen=True)
class Matching:
    """Faults matched as at an instant; each table is worked out when it is first asked for."""

    read: Callable[[str], pa.Table]
    """Gives a relation of USES by name."""
    words: Vocabulary
    windows: WindowsInForce

    @cached_property
    def episodes(self) -> pa.Table:
        """One episode a row: the relation `fault_episodes`, and further

        system; found_km, put_right_km and latest_km: how far the bike had gone when it was
        found, put right, and at its last distance reading, summed over computers (null where
        not known); window_days and window_km: of the repair's window, null where there is none.
        """
        found = self._found
        is_right = pc.is_valid(found["put_right_at"])
        window_days, window_km = self.windows.of(found["fault"], micros(found["put_right_at"]))
        return _with(
            found.drop_columns(["latest_km"]),
            system=self._systems(found["position"]),
            found_km=_nullable(self._km("found")),
            put_right_km=_nullable(self._km("put_right")),
            latest_km=_nullable(self._distances.latest_km(self._bike)),
            window_days=pc.if_else(is_right, pa.array(window_days), None),
            window_km=pc.if_else(is_right, pa.array(window_km), None),
        )

    @cached_property
    def repeats(self) -> pa.Table:
        """One episode that was found again a row, in order of again_at, then again_seq.

        shop, bike, position, system, fault, cause (of the later one, else the earlier one's);
        is_cause_told; found_seq of its episode and answers_seq, that of the one it answers;
        first_found_at, first_put_right_at and first_ with seq, job, actor, kind, treatment,
        tier, riding, make, model of that repair; again_found_at and again_ with seq, job, actor,
        tier; days and km between (km null where not known); window_days, window_km in force;
        is_in_window; is_come_back: in its window and not judged otherwise, or found in a job
        that is said or judged to answer that very repair's; source: how, null where it is none.
        """
        order = [("again_found_at", "ascending"), ("again_seq", "ascending")]
        return _judged(self._matched, self.jobs).sort_by(order).combine_chunks()

    @cached_property
    def jobs(self) -> pa.Table:
        """One job that answers an earlier one, or was judged not to, a row: `linked_jobs`."""
        return linked_jobs(matched_links(self._matched), self.read("said_come_backs"))

    @cached_property
    def _found(self) -> pa.Table:
        return self.read("fault_episodes").combine_chunks()

    @cached_property
    def _bikes(self) -> pa.Array:
        return pc.unique(self._found["bike"])

    @cached_property
    def _bike(self) -> Integers:
        return codes_in(self._found["bike"], self._bikes)

    @cached_property
    def _distances(self) -> BikeDistances:
        return BikeDistances.of(self.read("distance_readings"), self._bikes)

    def _km(self, when: str) -> Floats:
        """Give how far bikes had gone when each episode was "found" or "put_right"."""
        at, seq = self._found[f"{when}_at"], self._found[f"{when}_seq"]
        km = self._distances.km_at(self._bike, micros(at), np.asarray(seq.fill_null(0)))
        return np.where(np.asarray(at.is_null()), np.nan, km)

    def _systems(self, position: pa.ChunkedArray) -> pa.Array:
        """Give the system of the bike that each position is of."""
        encoded = position.combine_chunks().dictionary_encode()
        known, names = self.words.positions, encoded.dictionary.to_pylist()
        systems = [
            known[name].system if name in known else name.partition(".")[0] for name in names
        ]
        return pa.array(systems, pa.string()).take(encoded.indices)

    @cached_property
    def _matched(self) -> pa.Table:
        """Give the repeats, but for what is judged of them."""
        found = self.read("fault_repeats").combine_chunks()
        again, first = (_rows_of(self.episodes, found[name]) for name in _BOTH)
        later, earlier = self.episodes.take(again), self.episodes.take(first)
        columns = {name: later[name] for name in _SAME}
        columns["cause"] = pc.coalesce(later["cause"], earlier["cause"])
        columns |= {name: found[name] for name in ("is_cause_told", *_BOTH)}
        columns["first_found_at"] = earlier["found_at"]
        columns["first_put_right_at"] = earlier["put_right_at"]
        columns |= {f"first_{name}": earlier[f"put_right_{name}"] for name in _OF_REPAIR}
        columns["again_found_at"] = later["found_at"]
        columns |= {f"again_{name}": later[f"found_{name}"] for name in _OF_FOUND}
        columns |= {name: earlier[name] for name in ("window_days", "window_km")}
        return _in_window(pa.table(columns), floats(later["found_km"]), earlier)


def _rows_of(episodes: pa.Table, seqs: pa.ChunkedArray) -> pa.Array:
    """Give the row of the episode that each mark's seq began."""
    return pc.index_in(seqs, value_set=episodes["found_seq"].combine_chunks()).combine_chunks()


def _in_window(repeats: pa.Table, found_km: Floats, first: pa.Table) -> pa.Table:
    """Give the repeats with how far they lie from their repairs, and whether in the window."""
    span_us = micros(repeats["again_found_at"]) - micros(repeats["first_put_right_at"])
    km = np.maximum(found_km - floats(first["put_right_km"]), 0.0)
    is_early = span_us <= floats(repeats["window_days"]) * _DAY_US
    with np.errstate(invalid="ignore"):
        is_near = km <= floats(repeats["window_km"])
    return _with(
        repeats, days=pa.array(days(span_us)), km=_nullable(km), is_in_window=is_early | is_near
    )


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
        table = table.append_column(
            name, pa.array(column) if isinstance(column, np.ndarray) else column
        )
    return table


def _nullable(values: Floats) -> pa.Array:
    return pa.array(values, pa.float64(), from_pandas=True)


def matched(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    window: Window | None = None,
    *,
    read: Callable[[str], pa.Table] | None = None,
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
