"""What comes back most, by fault, position, system, part model or tier: counts and what it took.

Faults found count where they were found. What was put right, what came back and what that cost
count where the repair was made: to its tier, and to the part it left there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import (
    NONE,
    NULL_TIME,
    Flags,
    Integers,
    coded,
    codes_in,
    micros,
)
from ledger.figures.fault_costs import UnpaidRows
from ledger.figures.fault_shapes import (
    BikeComeBacks,
    By,
    FaultCounts,
    Measure,
    Pareto,
    ParetoRow,
    Unpaid,
)
from ledger.figures.fault_tables import MOMENT, FaultTables
from ledger.figures.fault_words import FEWEST, FaultWords

_LOW, _HIGH = 0.1, 0.9
_JEFFREYS = 0.5


@dataclass(frozen=True, slots=True)
class Sides:
    """The episodes, repairs and come-backs of a book, and whatever came back without a fault."""

    tables: FaultTables
    come_back: Integers
    """The repeats that count as come-backs."""
    unpaid: UnpaidRows
    """Of each come-back."""
    count_faultless: int
    """Jobs that came back, as somebody said, with no fault found again in them."""
    unpaid_faultless: Unpaid

    def keys(self, by: By) -> tuple[pa.Array, pa.Array, pa.Array]:
        """Give the key of each episode, repair and come-back: text, null where it names none.

        Tier and part are read only where they are asked for.
        """
        tables, right = self.tables, pa.array(self.tables.held.rows)
        back = pa.array(self.come_back)
        if by in ("tier", "model"):
            every = tables.episodes
            last = keys_of(tables.repeats, by, "first_").take(back)
            return keys_of(every, by, "found_"), keys_of(every, by, "put_right_").take(right), last
        found = keys_of(tables.found, by)
        return found, found.take(right), keys_of(tables.again, by).take(back)

    def bikes(self) -> tuple[pa.Array, pa.Array, pa.Array]:
        """Give the bike of each episode, repair and come-back."""
        found = _whole(self.tables.found["bike"])
        again = _whole(self.tables.again["bike"])
        return (
            found,
            found.take(pa.array(self.tables.held.rows)),
            again.take(pa.array(self.come_back)),
        )


def keys_of(table: pa.Table, by: By, prefix: str = "") -> pa.Array:
    """Give the key of each row: text, null where it names none.

    `prefix` is that of the columns tier, make and model ("found_" of episodes).
    """
    if by == "tier":
        return _whole(table[f"{prefix}tier"])
    if by != "model":
        return _whole(table[by])
    return _made(_whole(table[f"{prefix}make"]), _whole(table[f"{prefix}model"]))


def _whole(column: pa.ChunkedArray) -> pa.Array:
    return column.combine_chunks()


def _made(make: pa.Array, model: pa.Array) -> pa.Array:
    """Give make and model as one name; the make once where the model begins with it."""
    start = pc.list_element(pc.split_pattern(model.fill_null(""), " "), 0)
    is_said = pc.equal(make, start).fill_null(True)
    short = pc.if_else(is_said, pc.coalesce(model, make), None)
    both = pc.binary_join_element_wise(make, model, " ")
    return pc.coalesce(short, both, make)


def pareto(sides: Sides, by: By, measure: Measure, words: FaultWords) -> Pareto:
    """Give come-backs by one thing, those with most of a measure first."""
    keys, codes = _codes(sides, by)
    counted = _counts(sides, codes, len(keys))
    unpaid = sides.unpaid.summed(codes.come_back, len(keys))
    rows = [_Row(key, counted[row], unpaid.at(row)) for row, key in enumerate(keys)]
    rows[-1] = _with_faultless(rows[-1], sides)
    kept = [row for row in rows if row.counts != FaultCounts()]
    return _ranked(kept, by, measure, words)


def counts_of(sides: Sides) -> FaultCounts:
    """Give the counts of everything together."""
    sizes = len(sides.tables.found), len(sides.tables.held.rows), len(sides.come_back)
    codes = Codes(*(np.zeros(size, np.int64) for size in sizes))
    (counted,) = _counts(sides, codes, 1)
    return _with_faultless(_Row(None, counted, Unpaid()), sides).counts


def bikes_behind(
    sides: Sides, by: By, key: str | None, limit: int | None = None
) -> tuple[BikeComeBacks, ...]:
    """Give the bikes on which one row of a Pareto was found, most come-backs first.

    At most so many. Of the row without a key, jobs in which no fault was found again are not
    among them.
    """
    keys, codes = _codes(sides, by)
    if key is not None and key not in keys:
        return ()
    row = len(keys) - 1 if key is None else keys.index(key)
    rows = [np.flatnonzero(one == row) for one in (codes.episode, codes.repair, codes.come_back)]
    bikes = [of.take(pa.array(one)) for of, one in zip(sides.bikes(), rows, strict=True)]
    names = coded(pa.concat_arrays(bikes))
    places = np.split(names.code, np.cumsum([len(one) for one in rows])[:-1])
    found, right, back = (np.bincount(one, minlength=len(names.names)) for one in places)
    order = np.lexsort((np.arange(len(found)), -found, -back))[:limit]
    unpaid = sides.unpaid.taken(rows[2]).summed(places[2], len(found))
    last = _last_found(
        sides.tables.found["found_at"].take(pa.array(rows[0])), places[0], len(found)
    )
    return tuple(
        BikeComeBacks(
            bike=names.names[place],
            count_found=int(found[place]),
            count_put_right=int(right[place]),
            count_come_back=int(back[place]),
            unpaid=unpaid.at(place),
            last_found_at=seen,
        )
        for place, seen in zip(order.tolist(), last.take(pa.array(order)).to_pylist(), strict=True)
    )


def _last_found(found_at: pa.ChunkedArray, place: Integers, count: int) -> pa.Array:
    """Give when something was last found on each of so many bikes; null for never."""
    latest = np.full(count, NULL_TIME, dtype=np.int64)
    np.maximum.at(latest, place, micros(found_at))
    return pa.array(latest, mask=latest == NULL_TIME).cast(MOMENT)


@dataclass(frozen=True, slots=True)
class _Row:
    key: str | None
    counts: FaultCounts
    unpaid: Unpaid

    def measured(self, measure: Measure) -> int:
        """Give its figure; unknown money is 0."""
        if measure == "count":
            return self.counts.count_come_back
        return self.unpaid.minutes if measure == "minutes" else self.unpaid.minor or 0


@dataclass(frozen=True, slots=True)
class Codes:
    """Each row's place among the keys of a Pareto, the last of which stands for none."""

    episode: Integers
    repair: Integers
    come_back: Integers


def _codes(sides: Sides, by: By) -> tuple[list[str | None], Codes]:
    """Give the keys in order, None last, and each row's place among them."""
    columns = sides.keys(by)
    distinct = pc.unique(pa.concat_arrays([pc.unique(one) for one in columns])).drop_null()
    keys = sorted(distinct.to_pylist())
    codes = (codes_in(one, keys) for one in columns)
    return [*keys, None], Codes(*(np.where(one == NONE, len(keys), one) for one in codes))


def _counts(sides: Sides, codes: Codes, count: int) -> list[FaultCounts]:
    """Give the counts of each key."""
    found, held = sides.tables.found, sides.tables.held
    is_right, is_cleared = (_told(found[name]) for name in ("put_right_at", "cleared_at"))
    of_episode = {
        "count_found": np.ones(len(found), dtype=np.bool_),
        "count_open": ~is_right & ~is_cleared,
        "count_closed_without_work": is_cleared,
        "count_carried": sides.tables.matching.marks.count_jobs_carried > 0,
    }
    of_repair = {
        "count_put_right": np.ones(len(held.rows), dtype=np.bool_),
        "count_found_again": held.is_found_again,
        "count_judged": held.is_mature,
        "count_did_not_hold": held.is_come_back,
        "count_immature": ~held.is_mature,
    }
    columns = {
        **{name: _count(codes.episode[one], count) for name, one in of_episode.items()},
        **{name: _count(codes.repair[one], count) for name, one in of_repair.items()},
        "count_come_back": _count(codes.come_back, count),
    }
    return [
        FaultCounts(**{name: int(one[row]) for name, one in columns.items()})
        for row in range(count)
    ]


def _count(code: Integers, count: int) -> Integers:
    return np.bincount(code, minlength=count)


def _told(column: pa.ChunkedArray) -> Flags:
    return np.asarray(_whole(column).is_valid())


def _with_faultless(row: _Row, sides: Sides) -> _Row:
    """Add to the row of no key the jobs that came back with no fault found again."""
    back = row.counts.count_come_back + sides.count_faultless
    counts = replace(row.counts, count_come_back=back)
    return _Row(None, counts, row.unpaid + sides.unpaid_faultless)


def _ranked(rows: Sequence[_Row], by: By, measure: Measure, words: FaultWords) -> Pareto:
    """Give rows in order, with their shares and the intervals of their rates."""
    ordered = sorted(rows, key=lambda row: _order(row, measure, words.label(by, row.key)))
    total = sum(row.measured(measure) for row in ordered)
    judged = np.array([row.counts.count_judged for row in ordered], dtype=np.float64)
    back = np.array([row.counts.count_did_not_hold for row in ordered], dtype=np.float64)
    low, high = jeffreys(back, judged)
    so_far, made = 0, []
    for place, row in enumerate(ordered):
        ends = (float(low[place]), float(high[place])) if judged[place] else (None, None)
        so_far += row.measured(measure)
        made.append(
            ParetoRow(
                key=row.key,
                label=words.label(by, row.key),
                counts=row.counts,
                rate_low=ends[0],
                rate_high=ends[1],
                unpaid=row.unpaid,
                measured=row.measured(measure),
                share=row.measured(measure) / max(total, 1),
                cumulative_share=so_far / max(total, 1),
                is_too_few=row.counts.count_judged < FEWEST,
                verdict=words.verdict(row.counts, *ends),
            )
        )
    return Pareto(by, measure, tuple(made), total)


def _order(row: _Row, measure: Measure, label: str) -> tuple[int, int, int, str]:
    """Give what rows are sorted by: most of the measure first, then by what came back, found."""
    counts = row.counts
    return -row.measured(measure), -counts.count_come_back, -counts.count_found, label


def jeffreys(
    count: npt.NDArray[np.float64], of: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Give the 80 % interval of a share seen `count` times `of` so many, both (N,).

    Quantiles of the beta distribution that Jeffreys' prior gives (Brown, Cai and DasGupta 2001,
    eq. 8): 0 where nothing was seen, 1 where all was.
    """
    from scipy.special import betaincinv

    less = of - count
    low = betaincinv(count + _JEFFREYS, less + _JEFFREYS, _LOW)
    high = betaincinv(count + _JEFFREYS, less + _JEFFREYS, _HIGH)
    return np.where(count == 0, 0.0, low), np.where(less == 0, 1.0, high)
