"""Advice with a price that was not taken, and the first later job that charged for its system."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import flags, micros
from ledger.vocabulary import Vocabulary

WITHIN_DAYS = 730
_DAY_US = 86_400_000_000


def advice_table(
    told: pa.Table, lines: pa.Table, words: Vocabulary, in_book: Callable[[pa.Table], pa.Table]
) -> pa.Table:
    """Give one row a piece of advice not taken, of rows of `told_advice` and `charged_lines`.

    bike, seq, position, advised_at, price, answer (null: never answered); of the first job closed
    later, but within 730 days, with something charged in the system of that position: job,
    closed_at, later_minor (all that was charged there) and is_same_position (any of it at the very
    position); null where there is none. The job in which it was advised is no later one.
    `in_book` leaves out lines of jobs that were not opened.
    """
    taken = flags(pc.equal(told["answer"], "yes"))
    advice = told.filter(pa.array(~taken)).combine_chunks()
    advice = advice.append_column("system", systems(advice["position"], words))
    found = _first_later(advice, _charged(in_book(lines), advice, words))
    advice = advice.select(["bike", "seq", "position", "advised_at", "price", "answer"])
    joined = advice.join(found, keys="seq", join_type="left outer").combine_chunks()
    return joined.sort_by("seq")


def systems(position: pa.ChunkedArray, words: Vocabulary) -> pa.Array:
    """Give the system of the bike that each position is of."""
    encoded = position.combine_chunks().dictionary_encode()
    known = words.positions
    names = [
        known[name].system if name in known else name.partition(".")[0]
        for name in encoded.dictionary.to_pylist()
    ]
    return pa.array(names, pa.string()).take(encoded.indices)


def _charged(lines: pa.Table, advice: pa.Table, words: Vocabulary) -> pa.Table:
    """Give what was charged by bike, job and system, of bikes with advice, and where."""
    is_there = pc.and_(pc.is_valid(lines["position"]), pc.greater(lines["net"], 0))
    bikes = pc.unique(advice["bike"])
    is_asked = pc.and_(is_there, pc.is_in(lines["bike"], value_set=bikes))
    kept = lines.filter(is_asked).select(["bike", "job", "occurred_at", "position", "net"])
    return kept.append_column("system", systems(kept["position"], words))


def _first_later(advice: pa.Table, charged: pa.Table) -> pa.Table:
    """Give by seq of the advice: job, closed_at, later_minor, is_same_position."""
    asked = advice.select(["seq", "bike", "system", "advised_at", "job", "position"])
    asked = asked.rename_columns(["seq", "bike", "system", "advised_at", "own_job", "own_position"])
    pairs = charged.join(asked, keys=["bike", "system"], join_type="inner").combine_chunks()
    span = micros(pairs["occurred_at"]) - micros(pairs["advised_at"])
    is_own = flags(pc.equal(pairs["job"], pairs["own_job"]))
    is_later = (span > 0) & (span <= WITHIN_DAYS * _DAY_US) & ~is_own
    pairs = pairs.filter(pa.array(is_later))
    same = pc.equal(pairs["position"], pairs["own_position"]).cast(pa.int64())
    pairs = pairs.append_column("same", same)
    by_job = pairs.group_by(["seq", "occurred_at", "job"]).aggregate(
        [("net", "sum"), ("same", "max")]
    )
    by_job = by_job.sort_by([("seq", "ascending"), ("occurred_at", "ascending"),
                             ("job", "ascending")])  # fmt: skip
    seq = np.asarray(by_job["seq"].to_numpy(), dtype=np.int64)
    first = by_job.take(pa.array(np.unique(seq, return_index=True)[1]))
    return pa.table(
        {
            "seq": first["seq"],
            "job": first["job"],
            "closed_at": first["occurred_at"],
            "later_minor": first["net_sum"],
            "is_same_position": pc.equal(first["same_max"], 1),
        }
    )
