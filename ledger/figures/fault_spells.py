"""Which part sat where from when to when, over all bikes: what faults by part model are counted on.

The same spells as the relation `part_spells`, put in order here because a great book has a
million; distances are interpolated, as for faults.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import NONE, Flags, Floats, Integers, coded, codes_in, micros
from ledger.figures.fault_distances import BikeDistances
from ledger.figures.fault_then import Read

USES = ("part_moves", "observed_bikes", "distance_readings")
_LAST = np.iinfo(np.int64).max
"""Comes after every seq: the end of a spell that is not ended."""


@dataclass(frozen=True, slots=True, eq=False)
class _Spells:
    """Rows of the moves: where each spell starts, and where it ends (NONE while it lasts)."""

    moves: pa.Table
    start: Integers
    end: Integers
    bike: Integers
    """Of each spell, its row among the bikes."""
    until_us: Integers
    """When it ended, else the bike's last live event."""


def spells_of(read: Read) -> pa.Table:
    """Give SPELLS of `ledger.figures.fault_tables`; `read` gives the relations of USES."""
    from ledger.figures.fault_tables import MOMENT, SPELLS

    bikes = read("observed_bikes")
    spells = _spells(read, bikes)
    moves, start, is_ended = spells.moves, pa.array(spells.start), spells.end != NONE
    fitted = moves.take(start)
    columns = {
        **{name: fitted[name] for name in ("bike", "position", "make", "model")},
        "part": pc.coalesce(fitted["part"], pc.cast(fitted["seq"], pa.string())),
        "is_found": pc.fill_null(fitted["is_found"], False),
        "started_at": fitted["occurred_at"],
        "ended_at": pa.array(spells.until_us).cast(MOMENT),
        "is_ended": pa.array(is_ended),
        "end_reason": _reasons(spells),
        "distance_km": pa.array(_ridden(read, bikes, spells), from_pandas=True),
    }
    return pa.table([columns[field.name].cast(field.type) for field in SPELLS], schema=SPELLS)


def _spells(read: Read, bikes: pa.Table) -> _Spells:
    moves = read("part_moves").combine_chunks()
    bike, position = (
        codes_in(moves["bike"], bikes["bike"].to_pylist()),
        coded(moves["position"]).code,
    )
    at_us, seq = micros(moves["occurred_at"]), np.asarray(moves["seq"], dtype=np.int64)
    order = np.lexsort((seq, at_us, position, bike))
    is_same = np.zeros(len(order), dtype=np.bool_)
    is_same[:-1] = (np.diff(bike[order]) == 0) & (np.diff(position[order]) == 0)
    following = np.where(is_same, np.roll(order, -1), NONE)
    is_fitting = _is_fitting(moves)[order]
    start, end = order[is_fitting], following[is_fitting]
    seen = micros(bikes["observed_until"])
    until = np.where(end == NONE, seen[bike[start]], at_us[end])
    return _Spells(moves, start, end, bike[start], until)


def _is_fitting(moves: pa.Table) -> Flags:
    return np.asarray(pc.equal(moves["kind"], "part_fitted"))


def _reasons(spells: _Spells) -> pa.ChunkedArray:
    """Give a removal's reason, or that another part came in its place; null while it lasts."""
    end = spells.moves.take(pa.array(spells.end, mask=spells.end == NONE))
    is_removed = pc.equal(end["kind"], "part_removed")
    return pc.if_else(
        is_removed, end["outcome"], pc.if_else(pc.is_valid(is_removed), "replaced", None)
    )


def _ridden(read: Read, bikes: pa.Table, spells: _Spells) -> Floats:
    """Give what each bike rode during a spell (km); NaN where it is not known."""
    seq, at_us = np.asarray(spells.moves["seq"]), micros(spells.moves["occurred_at"])
    distances = BikeDistances.of(read("distance_readings"), bikes["bike"].combine_chunks())
    begun = distances.km_at(spells.bike, at_us[spells.start], seq[spells.start])
    last = np.where(spells.end == NONE, _LAST, np.append(seq, _LAST)[spells.end])
    return np.maximum(distances.km_at(spells.bike, spells.until_us, last) - begun, 0.0)
