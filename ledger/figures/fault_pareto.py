"""What comes back most, by fault, position, system, part model or tier: counts and what it took.

Faults found count where they were found. What was put right, what came back and what that cost
count where the repair was made: to its tier, and to the part it left there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import NONE, Flags, Integers, codes_in, flags
from ledger.figures.fault_costs import UnpaidRows
from ledger.figures.fault_shapes import By, FaultCounts, Measure, Pareto, ParetoRow, Unpaid
from ledger.figures.fault_words import FEWEST

Verdict = Callable[[FaultCounts, float | None, float | None], str]
"""Words of a row's counts and the interval of its rate."""
_LOW, _HIGH = 0.1, 0.9
_JEFFREYS = 0.5


@dataclass(frozen=True, slots=True)
class Sides:
    """One row an episode, a repair and a come-back, and whatever came back without a fault."""

    episodes: pa.Table
    """position, system, fault; found_tier, found_make, found_model; put_right_at, cleared_at,
    count_jobs_carried."""
    repairs: pa.Table
    """REPAIRS of `ledger.figures.fault_tables`."""
    come_backs: pa.Table
    """position, system, fault; tier, make, model of the repair that did not hold."""
    unpaid: UnpaidRows
    """Of each come-back."""
    count_faultless: int
    """Jobs that came back, as somebody said, with no fault found again in them."""
    unpaid_faultless: Unpaid


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


def pareto(
    sides: Sides,
    by: By,
    measure: Measure,
    label: Callable[[str | None], str],
    verdict: Verdict,
) -> Pareto:
    """Give come-backs by one thing, those with most of a measure first.

    `label` gives a key's words, `verdict` those of its counts and the interval of its rate.
    """
    keys, of_episode, of_repair, of_come_back = _codes(sides, by)
    count = len(keys)
    counted = _counts(sides, of_episode, of_repair, of_come_back, count)
    unpaid = [sides.unpaid.summed(of_come_back, count).at(row) for row in range(count)]
    rows = [
        _Row(None if row == count - 1 else keys[row], FaultCounts(**one), unpaid[row])
        for row, one in enumerate(counted)
    ]
    rows[-1] = _with_faultless(rows[-1], sides)
    kept = [row for row in rows if row.counts != FaultCounts()]
    return _ranked(kept, by, measure, label, verdict)


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


def _codes(sides: Sides, by: By) -> tuple[list[str], Integers, Integers, Integers]:
    """Give the keys, the last of which stands for none, and each row's place among them."""
    columns = (
        keys_of(sides.episodes, by, "found_"),
        keys_of(sides.repairs, by),
        keys_of(sides.come_backs, by),
    )
    distinct = pc.unique(pa.concat_arrays([pc.unique(one) for one in columns])).drop_null()
    keys = sorted(distinct.to_pylist())
    codes = [codes_in(one, keys) for one in columns]
    episode, repair, come_back = (np.where(one == NONE, len(keys), one) for one in codes)
    return [*keys, ""], episode, repair, come_back


def _counts(
    sides: Sides, of_episode: Integers, of_repair: Integers, of_come_back: Integers, count: int
) -> list[dict[str, int]]:
    tables = sides.episodes, sides.repairs
    is_right, is_cleared = (_told(tables[0][name]) for name in ("put_right_at", "cleared_at"))
    is_judged = flags(tables[1]["is_mature"])
    is_carried = flags(pc.greater(tables[0]["count_jobs_carried"], 0))
    columns = {
        "count_found": _count(of_episode, count),
        "count_put_right": _count(of_repair, count),
        "count_found_again": _count(of_repair, count, flags(tables[1]["is_found_again"])),
        "count_come_back": _count(of_come_back, count),
        "count_judged": _count(of_repair, count, is_judged),
        "count_did_not_hold": _count(of_repair, count, flags(tables[1]["is_come_back"])),
        "count_immature": _count(of_repair, count, ~is_judged),
        "count_open": _count(of_episode, count, ~is_right & ~is_cleared),
        "count_closed_without_work": _count(of_episode, count, is_cleared),
        "count_carried": _count(of_episode, count, is_carried),
    }
    return [{name: int(one[row]) for name, one in columns.items()} for row in range(count)]


def _count(code: Integers, count: int, is_counted: Flags | None = None) -> Integers:
    kept = code if is_counted is None else code[is_counted]
    return np.bincount(kept, minlength=count)


def _told(column: pa.ChunkedArray) -> Flags:
    return np.asarray(_whole(column).is_valid())


def _with_faultless(row: _Row, sides: Sides) -> _Row:
    """Add to the row of no key the jobs that came back with no fault found again."""
    counts = row.counts
    names = FaultCounts.__dataclass_fields__
    grown = {name: getattr(counts, name) for name in names}
    grown["count_come_back"] += sides.count_faultless
    return _Row(None, FaultCounts(**grown), row.unpaid + sides.unpaid_faultless)


def _ranked(
    rows: Sequence[_Row],
    by: By,
    measure: Measure,
    label: Callable[[str | None], str],
    verdict: Verdict,
) -> Pareto:
    named = [(label(row.key), row) for row in rows]
    named.sort(
        key=lambda one: (
            -one[1].measured(measure),
            -one[1].counts.count_come_back,
            -one[1].counts.count_found,
            one[0],
        )
    )
    measured = np.array([row.measured(measure) for _, row in named], dtype=np.int64)
    total = int(measured.sum())
    share = measured / max(total, 1)
    low, high = jeffreys(
        np.array([row.counts.count_did_not_hold for _, row in named], dtype=np.float64),
        np.array([row.counts.count_judged for _, row in named], dtype=np.float64),
    )
    found = []
    for place, (name, row) in enumerate(named):
        is_told = row.counts.count_judged > 0
        found.append(
            ParetoRow(
                key=row.key,
                label=name,
                counts=row.counts,
                rate_low=float(low[place]) if is_told else None,
                rate_high=float(high[place]) if is_told else None,
                unpaid=row.unpaid,
                measured=int(measured[place]),
                share=float(share[place]),
                cumulative_share=float(min(share[: place + 1].sum(), 1.0)),
                is_too_few=row.counts.count_judged < FEWEST,
                verdict=verdict(
                    row.counts,
                    float(low[place]) if is_told else None,
                    float(high[place]) if is_told else None,
                ),
            )
        )
    return Pareto(by, measure, tuple(found), total)


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
