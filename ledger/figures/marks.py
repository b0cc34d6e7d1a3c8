"""A book's readings, fittings, removals and distance readings as arrays, in order of time."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.distances import NONE, Floats, Integers, Places, Readings, place, with_lost
from ledger.analysis.readings import DISTANCES, MOMENT, conforming
from ledger.state import made_up_part

Texts = npt.NDArray[np.object_]
Flags = npt.NDArray[np.bool_]

_DAY_US = 86_400_000_000
_SAID_ERROR = 0.1
"""The error of a distance told or estimated, of what was said: an assumption."""


@dataclass(frozen=True)
class Marks:
    """Rows of the relation `wear_marks` in order of occurred_at, then seq; a row's place is
    its order in time."""

    table: pa.Table

    def texts(self, name: str) -> Texts:
        """Give a text column, with None for null; each text is one object, however often told."""
        column = self.table[name].combine_chunks().dictionary_encode()
        there = np.array([*column.dictionary.to_pylist(), None], dtype=object)
        return np.asarray(there[column.indices.fill_null(len(there) - 1).to_numpy()])

    def floats(self, name: str) -> Floats:
        """Give a column of figures, with NaN for null."""
        column = pc.cast(self.table[name], pa.float64())
        return np.asarray(column.to_numpy(), dtype=np.float64)

    def seqs(self, name: str) -> Integers:
        """Give a column of whole numbers, with NONE for null."""
        return np.asarray(self.table[name].fill_null(NONE).to_numpy(), dtype=np.int64)

    def days(self, name: str) -> Floats:
        """Give a column of instants as days since 1970, with NaN for null."""
        micros = pc.cast(self.table[name], pa.int64())
        return np.asarray(pc.cast(micros, pa.float64()).to_numpy(), dtype=np.float64) / _DAY_US

    @cached_property
    def at(self) -> Floats:
        """When each row occurred, in days since 1970."""
        return self.days("occurred_at")

    @cached_property
    def kind(self) -> Texts:
        """The kind of event of each row."""
        return self.texts("kind")

    @cached_property
    def bike(self) -> Texts:
        """The bike of each row."""
        return self.texts("bike")

    @cached_property
    def position(self) -> Texts:
        """The position of each row; None for a distance reading."""
        return self.texts("position")

    @cached_property
    def distance_rows(self) -> Integers:
        """The rows that are distance readings."""
        return np.flatnonzero(self.kind == "distance_read")

    @cached_property
    def readings(self) -> Readings:
        """The distance readings, in the order of `distance_rows`."""
        rows = self.distance_rows
        shown, said = self.floats("distance_km")[rows], self.texts("outcome")[rows]
        is_read = (said == "read") | (said == None)  # noqa: E711 - of an array, element by element
        error = np.where(is_read, 0.0, _SAID_ERROR * shown)
        total = self.floats("distance_total_km")[rows]
        return Readings(self.at[rows], total, error, np.zeros(len(rows)))

    def readings_with_lost(self, km_per_day: Floats) -> Readings:
        """Give the distance readings with what was lost where a computer was replaced.

        `km_per_day` is of each row's bike.
        """
        rows = self.distance_rows
        bike = np.unique(self.bike[rows].astype(str), return_inverse=True)[1]
        return with_lost(self.readings, bike, self.seqs("computer")[rows], km_per_day[rows])

    def reading_index(self, name: str) -> Integers:
        """Give for a column of seqs which distance reading each is, or NONE."""
        seqs = self.seqs("seq")[self.distance_rows]
        order = np.argsort(seqs)
        wanted = self.seqs(name)
        if not len(seqs):
            return np.full(len(wanted), NONE, dtype=np.int64)
        found = np.searchsorted(seqs[order], wanted)
        index = order[np.minimum(found, len(seqs) - 1)]
        return np.where(wanted == NONE, NONE, index)

    @cached_property
    def places(self) -> Places:
        """Where each row lies among the distance readings of its bike."""
        before, after = self.reading_index("before_seq"), self.reading_index("after_seq")
        return place(self.at, before, after, self.readings)

    @cached_property
    def latest(self) -> Places:
        """The last distance reading of each row's bike, as a place."""
        index = self.reading_index("latest_seq")
        return Places(index, index, np.zeros(len(index)), np.zeros(len(index)))

    @cached_property
    def latest_row(self) -> Integers:
        """The row of the last distance reading of each row's bike, or NONE."""
        index = self.reading_index("latest_seq")
        if not len(self.distance_rows):
            return index
        return np.where(index == NONE, NONE, self.distance_rows[index])

    def event(self, row: int) -> str:
        """Give the id of a row's event, as text."""
        return _id_of(self._ids[row].hex())

    @cached_property
    def _ids(self) -> list[bytes]:
        return list(self.table["id"].to_pylist())

    @cached_property
    def fitted_parts(self) -> Texts:
        """Each row's part; a fitting that names none has one made up from its event."""
        parts = self.texts("part").copy()
        for row in np.flatnonzero(self.kind == "part_fitted").tolist():
            parts[row] = parts[row] or made_up_part(self.event(row))
        return parts

    @cached_property
    def last_row_of_bike(self) -> Integers:
        """The last row of each row's bike."""
        last = {bike: row for row, bike in enumerate(self.bike)}
        return np.array([last[bike] for bike in self.bike], dtype=np.int64)

    def moments(self, name: str, rows: Integers | pa.Array) -> pa.Array:
        """Give a column of instants at some rows; null where a row is null."""
        column = self.table[name].combine_chunks().cast(MOMENT)
        return column.take(rows)

    def distances(self) -> pa.Table:
        """Give the distance readings as DISTANCES."""
        rows = self.distance_rows
        table = self.table.take(rows)
        columns = {
            "bike": table["bike"].combine_chunks(),
            "riding": table["riding"].combine_chunks(),
            "at": self.moments("occurred_at", rows),
            "km": self.readings.km,
            "source": table["outcome"].combine_chunks(),
            "computer": table["computer"].combine_chunks(),
            "error_km": self.readings.error_km,
            "seq": table["seq"].combine_chunks(),
        }
        keys = [("bike", "ascending"), ("at", "ascending"), ("seq", "ascending")]
        return conforming(columns, DISTANCES).sort_by(keys)


def _id_of(digits: str) -> str:
    """Write the 32 hexadecimal digits of an id with its dashes."""
    return "-".join((digits[:8], digits[8:12], digits[12:16], digits[16:20], digits[20:]))


def in_time(table: pa.Table) -> Marks:
    """Give marks of rows of `wear_marks` in any order."""
    keys = [("occurred_at", "ascending"), ("seq", "ascending")]
    return Marks(table.sort_by(keys).combine_chunks())
