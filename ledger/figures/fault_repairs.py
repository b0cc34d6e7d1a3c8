"""Repairs and how they held, and how long bikes were watched."""

from __future__ import annotations

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


def repairs_of(tables: FaultTables) -> pa.Table:
    """Give REPAIRS of `ledger.figures.fault_tables`."""
    from ledger.figures.fault_tables import REPAIRS

    episodes = tables.episodes
    right = episodes.filter(pc.is_valid(episodes["put_right_at"])).combine_chunks()
    repeats = tables.repeats
    # seqs are one run for the whole book, so that they alone name an episode.
    answered = _rows_of(repeats["answers_seq"], right["found_seq"])
    again = _first_again(repeats, answered, len(right))
    is_again = again != NONE
    is_back = np.zeros(len(right), dtype=np.bool_)
    is_back[answered[flags(repeats["is_come_back"])]] = True
    put_right, until = micros(right["put_right_at"]), micros(right["observed_until"])
    # NONE is the last place: what is appended stands for no repeat.
    again_us = np.append(micros(repeats["again_found_at"]), NULL_TIME)[again]
    again_km = np.append(floats(repeats["km"]), np.nan)[again]
    km_watched = np.where(
        micros(right["latest_at"]) > put_right,
        floats(right["latest_km"]) - floats(right["put_right_km"]),
        np.nan,
    )
    is_over = _is_over(right, days(until - put_right), km_watched)
    columns = {
        **{name: right[name] for name in _SAME},
        **{name: right[f"put_right_{name}"] for name in _OF_REPAIR},
        "again_at": pa.array(again_us, mask=~is_again).cast(pa.timestamp("us", tz="UTC")),
        "days_followed": pa.array(days(np.where(is_again, again_us, until) - put_right)),
        "km_followed": pa.array(np.where(is_again, again_km, km_watched), from_pandas=True),
        "is_found_again": pa.array(is_again),
        "is_come_back": pa.array(is_back),
        "is_mature": pa.array(is_back | is_over),
    }
    return _conforming(columns, REPAIRS)


def _is_over(right: pa.Table, days_watched: Floats, km_watched: Floats) -> Flags:
    """Say of each repair whether its window had run out, whichever end is later, when last seen."""
    is_past_days = days_watched > floats(right["window_days"])
    with np.errstate(invalid="ignore"):
        is_short_of_km = km_watched <= floats(right["window_km"])
    return np.asarray(is_past_days & ~is_short_of_km)


def _rows_of(seqs: pa.ChunkedArray, known: pa.ChunkedArray) -> Integers:
    """Give the row of each seq among those known, which hold it."""
    found = pc.index_in(seqs, value_set=known.combine_chunks())
    return np.asarray(found.to_numpy(), dtype=np.int64)


def _first_again(repeats: pa.Table, answered: Integers, count: int) -> Integers:
    """Give for each repair the repeat that came first after it; NONE for none."""
    every = np.ones(len(repeats), dtype=np.bool_)
    return first_of(answered, count, micros(repeats["again_found_at"]), every)


def bikes_of(tables: FaultTables) -> pa.Table:
    """Give BIKES of `ledger.figures.fault_tables`."""
    from ledger.figures.fault_tables import BIKES

    bikes = tables.read("observed_bikes")
    return _conforming({name: bikes[name] for name in BIKES.names}, BIKES)


def _conforming(columns: dict[str, pa.ChunkedArray | pa.Array], schema: pa.Schema) -> pa.Table:
    arrays = [columns[field.name].cast(field.type) for field in schema]
    return pa.table(arrays, schema=schema)
