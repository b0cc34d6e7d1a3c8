"""Repairs and how they held, and how long bikes were watched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import (
    NONE,
    NULL_TIME,
    Flags,
    Floats,
    Integers,
    codes_in,
    days,
    first_of,
    flags,
    floats,
    micros,
)
from ledger.figures.fault_distances import BikeDistances

if TYPE_CHECKING:
    from ledger.figures.fault_tables import FaultTables

_SAME = ("bike", "position", "system", "fault", "cause", "found_seq", "put_right_at",
         "observed_until", "window_days", "window_km")  # fmt: skip
_OF_REPAIR = ("seq", "kind", "treatment", "job", "actor", "tier", "riding", "make", "model")
_LAST = np.iinfo(np.int64).max
"""Comes after every seq: the end of what is known of a bike."""


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """How each of N repairs held."""

    rows: Integers
    """Of the episodes: those that were put right."""
    again: Integers
    """The row of the repeats that came first after it; NONE for none."""
    again_us: Integers
    until_us: Integers
    """The bike's last live event."""
    is_come_back: Flags
    is_mature: Flags
    """It came back, or its window had run out when the bike was last seen."""

    @property
    def is_found_again(self) -> Flags:
        """Whether the fault was found again, within the window or not."""
        return np.asarray(self.again != NONE, dtype=np.bool_)


def held_of(tables: FaultTables) -> Held:
    """Give how the repairs of a book held, without what else is known of them."""
    found, repeats = tables.found, tables.again
    rows = np.flatnonzero(np.asarray(found["put_right_at"].combine_chunks().is_valid()))
    right = found.select(["bike", "found_seq", "put_right_at", "put_right_seq", "window_days",
                          "window_km"]).take(pa.array(rows))  # fmt: skip
    # seqs are one run for the whole book, so that they alone name an episode.
    answered = _rows_of(repeats["answers_seq"], right["found_seq"])
    again_at = micros(repeats["again_found_at"])
    again = first_of(answered, len(rows), again_at, np.ones(len(answered), dtype=np.bool_))
    is_back = np.zeros(len(rows), dtype=np.bool_)
    is_back[answered[flags(repeats["is_come_back"])]] = True
    bike = codes_in(right["bike"], tables.bikes["bike"].to_pylist())
    until = micros(tables.bikes["observed_until"])[bike]
    return Held(
        rows=rows,
        again=again,
        # NONE is the last place: what is appended stands for no repeat.
        again_us=np.append(again_at, NULL_TIME)[again],
        until_us=until,
        is_come_back=is_back,
        is_mature=is_back | _is_over(tables, right, until, ~is_back),
    )


def _is_over(tables: FaultTables, right: pa.Table, until: Integers, is_asked: Flags) -> Flags:
    """Say of each repair whether its window, whichever end is later, was over when last seen."""
    is_over = days(until - micros(right["put_right_at"])) > floats(right["window_days"])
    rows = np.flatnonzero(is_over & is_asked)
    asked = right.take(pa.array(rows))
    with np.errstate(invalid="ignore"):
        is_short = km_watched(tables, asked, until[rows]) <= floats(asked["window_km"])
    is_over[rows[is_short]] = False
    return np.asarray(is_over, dtype=np.bool_)


def km_watched(tables: FaultTables, right: pa.Table, until: Integers) -> Floats:
    """Give what bikes rode from a repair until they were last seen; NaN where not known.

    `right` has the columns bike, put_right_at and put_right_seq.
    """
    names = pc.unique(right["bike"])
    bike = codes_in(right["bike"], names.to_pylist())
    distances = BikeDistances.of(tables.read("distance_readings"), names)
    at, seq = micros(right["put_right_at"]), np.asarray(right["put_right_seq"].to_numpy())
    gone = distances.km_at(bike, at, seq)
    return np.maximum(distances.km_at(bike, until, np.full(len(bike), _LAST)) - gone, 0.0)


def repairs_of(tables: FaultTables) -> pa.Table:
    """Give REPAIRS of `ledger.figures.fault_tables`."""
    from ledger.figures.fault_tables import MOMENT, REPAIRS

    held, repeats = tables.held, tables.repeats
    right = tables.episodes.take(pa.array(held.rows))
    is_again = held.is_found_again
    again_km = np.append(floats(repeats["km"]), np.nan)[held.again]
    km = np.where(is_again, again_km, km_watched(tables, right, held.until_us))
    ended = np.where(is_again, held.again_us, held.until_us)
    columns = {
        **{name: right[name] for name in _SAME},
        **{name: right[f"put_right_{name}"] for name in _OF_REPAIR},
        "again_at": pa.array(held.again_us, mask=~is_again).cast(MOMENT),
        "days_followed": pa.array(days(ended - micros(right["put_right_at"]))),
        "km_followed": pa.array(km, from_pandas=True),
        "is_found_again": pa.array(is_again),
        "is_come_back": pa.array(held.is_come_back),
        "is_mature": pa.array(held.is_mature),
    }
    return _conforming(columns, REPAIRS)


def _rows_of(seqs: pa.ChunkedArray, known: pa.ChunkedArray) -> Integers:
    """Give the row of each seq among those known, which hold it."""
    found = pc.index_in(seqs, value_set=known.combine_chunks())
    return np.asarray(found.to_numpy(), dtype=np.int64)


def bikes_of(tables: FaultTables) -> pa.Table:
    """Give BIKES of `ledger.figures.fault_tables`."""
    from ledger.figures.fault_tables import BIKES

    bikes = tables.read("observed_bikes")
    return _conforming({name: bikes[name] for name in BIKES.names}, BIKES)


def _conforming(columns: dict[str, pa.ChunkedArray | pa.Array], schema: pa.Schema) -> pa.Table:
    arrays = [columns[field.name].cast(field.type) for field in schema]
    return pa.table(arrays, schema=schema)
