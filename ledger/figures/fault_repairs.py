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
    Integers,
    days,
    first_of,
    flags,
    floats,
    micros,
)

if TYPE_CHECKING:
    from ledger.figures.fault_tables import FaultTables

_SAME = ("bike", "position", "system", "fault", "cause", "found_seq", "put_right_at",
         "observed_until", "window_days", "window_km")  # fmt: skip
_OF_REPAIR = ("seq", "kind", "treatment", "job", "actor", "tier", "riding", "make", "model")


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
    # seqs are one run for the whole book, so that they alone name an episode.
    answered = _rows_of(repeats["answers_seq"], found["found_seq"].take(pa.array(rows)))
    again_at = micros(repeats["again_found_at"])
    again = first_of(answered, len(rows), again_at, np.ones(len(answered), dtype=np.bool_))
    is_back = np.zeros(len(rows), dtype=np.bool_)
    is_back[answered[flags(repeats["is_come_back"])]] = True
    until = tables.matching.marks.until_us[rows]
    return Held(
        rows=rows,
        again=again,
        # NONE is the last place: what is appended stands for no repeat.
        again_us=np.append(again_at, NULL_TIME)[again],
        until_us=until,
        is_come_back=is_back,
        is_mature=is_back | _is_over(tables, rows, until, ~is_back),
    )


def _is_over(tables: FaultTables, rows: Integers, until: Integers, is_asked: Flags) -> Flags:
    """Say of each repair whether its window, whichever end is later, was over when last seen."""
    right = tables.found.select(["put_right_at", "window_days", "window_km"]).take(pa.array(rows))
    is_over = days(until - micros(right["put_right_at"])) > floats(right["window_days"])
    asked = np.flatnonzero(is_over & is_asked)
    with np.errstate(invalid="ignore"):
        ridden = tables.matching.marks.km_watched(rows[asked])
        is_short = ridden <= floats(right["window_km"])[asked]
    is_over[asked[is_short]] = False
    return np.asarray(is_over, dtype=np.bool_)


def repairs_of(tables: FaultTables) -> pa.Table:
    """Give REPAIRS of `ledger.figures.fault_tables`."""
    from ledger.figures.fault_tables import MOMENT, REPAIRS

    held, repeats = tables.held, tables.repeats
    right = tables.episodes.take(pa.array(held.rows))
    is_again = held.is_found_again
    again_km = np.append(floats(repeats["km"]), np.nan)[held.again]
    km = np.where(is_again, again_km, tables.matching.marks.km_watched(held.rows))
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
