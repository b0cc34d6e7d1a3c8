"""What come-backs cost that nobody paid for: minutes, their wages, and parts given away.

Minutes are those booked as come-back or goodwill on a job that came back, money of them at the
mechanic's wage in force when they were worked. Parts are lines of its bill marked as goodwill, or
charged at nothing, at what they cost the shop.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import NONE, Integers, codes_in, flags
from ledger.figures.fault_shapes import NOT_SHOWN, Unpaid
from ledger.figures.fault_tables import FaultTables
from ledger.figures.shared_out import shared_equally
from ledger.figures.wages import NOT_TOLD, wages_of
from ledger.vocabulary import Vocabulary

FIGURES = (
    "minutes", "minutes_minor", "minutes_without_wage", "parts_minor", "parts_without_cost",
)  # fmt: skip
"""In the order of `Unpaid`."""
_NEVER_PARTS = "labour"
"""The sort of line whose cost is minutes, which are counted as such."""


@dataclass(frozen=True, slots=True)
class UnpaidRows:
    """The figures of `Unpaid` of N rows, each (N,)."""

    figures: Mapping[str, Integers]
    is_shown: bool = True
    """False: each row is `NOT_SHOWN`."""

    def total(self, rows: Integers | None = None) -> Unpaid:
        """Give the sum over some rows; over all for None."""
        if not self.is_shown:
            return NOT_SHOWN
        told = (self.figures[name] for name in FIGURES)
        return Unpaid(*(int((one if rows is None else one[rows]).sum()) for one in told))

    def taken(self, rows: Integers) -> UnpaidRows:
        """Give some rows."""
        taken = {name: values[rows] for name, values in self.figures.items()}
        return UnpaidRows(taken, self.is_shown)

    def summed(self, group: Integers, count: int) -> UnpaidRows:
        """Give sums by group: (count,) figures; a row of group NONE is in none."""
        kept = np.flatnonzero(group != NONE)
        summed = {}
        for name, values in self.figures.items():
            summed[name] = np.zeros(count, dtype=np.int64)
            np.add.at(summed[name], group[kept], values[kept])
        return UnpaidRows(summed, self.is_shown)

    @property
    def is_told(self) -> npt.NDArray[np.bool_]:
        """Say of each row whether its money is told: see `Unpaid.minor`."""
        figures = self.figures
        is_worked = (figures["minutes"] > 0) & (figures["minutes_without_wage"] > 0)
        return np.asarray(~(is_worked & (figures["minutes_minor"] == 0)))

    @property
    def minor(self) -> Integers:
        """Minutes and parts of each row in money, what nobody told left out."""
        return np.asarray(self.figures["minutes_minor"] + self.figures["parts_minor"])

    def at(self, row: int) -> Unpaid:
        """Give one row."""
        if not self.is_shown:
            return NOT_SHOWN
        return Unpaid(*(int(self.figures[name][row]) for name in FIGURES))


@dataclass(frozen=True, slots=True)
class UnpaidWork:
    """What J jobs took unpaid, and what of it falls to each of N come-backs found in them."""

    by_job: UnpaidRows
    by_come_back: UnpaidRows

    def not_shown(self) -> UnpaidWork:
        """Give as many rows with nothing in them."""
        return UnpaidWork(_emptied(self.by_job), _emptied(self.by_come_back))


def _emptied(rows: UnpaidRows) -> UnpaidRows:
    nothing = {name: np.zeros_like(values) for name, values in rows.figures.items()}
    return UnpaidRows(nothing, is_shown=False)


def unpaid_work(
    tables: FaultTables, jobs: Sequence[str], come_backs: pa.Table, job: Integers
) -> UnpaidWork:
    """Give what jobs that came back took unpaid.

    `come_backs` has the columns position and system of what came back, `job` (N,) says in which
    of `jobs` (NONE for none). A job's minutes are shared equally among what came back in it; a
    line of its bill falls to what came back at its position, else within its system, else to all.
    """
    minutes = _minutes(tables, jobs)
    lines = _lines(tables, jobs)
    parts = _parts(lines, len(jobs))
    known = np.flatnonzero(job != NONE)
    shared = {name: _placed(known, job, shared_equally(minutes[name], job[known]))
              for name in minutes}  # fmt: skip
    shared |= _parts_shared(lines, come_backs, job, tables.words)
    return UnpaidWork(UnpaidRows({**minutes, **parts}), UnpaidRows(shared))


def _placed(rows: Integers, of: Integers, values: Integers) -> Integers:
    found = np.zeros(len(of), dtype=np.int64)
    found[rows] = values
    return found


def _sums(group: Integers, values: npt.NDArray[np.generic], count: int) -> Integers:
    found = np.zeros(count, dtype=np.int64)
    np.add.at(found, group, values.astype(np.int64))
    return found


# -- minutes ----------------------------------------------------------------------------------


def _minutes(tables: FaultTables, jobs: Sequence[str]) -> dict[str, Integers]:
    """Give by job the unpaid minutes, their money, and those at no told wage."""
    labour = tables.unpaid_labour
    job = codes_in(labour["job"], jobs)
    labour, job = labour.filter(pa.array(job != NONE)), job[job != NONE]
    minutes = np.asarray(labour["minutes"].to_numpy(), dtype=np.int64)
    wage = wages_of(tables.book, tables.known_seq).of(labour["actor"], labour["occurred_at"])
    is_told, count = wage != NOT_TOLD, len(jobs)
    hours = _sums(job[is_told], (minutes * wage)[is_told], count)
    return {
        "minutes": _sums(job, minutes, count),
        "minutes_minor": (2 * hours + 60) // 120,
        "minutes_without_wage": _sums(job[~is_told], minutes[~is_told], count),
    }


# -- parts ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Lines:
    """Lines of bills given away: which job, where on the bike, what they cost (NONE: not told)."""

    job: Integers
    position: pa.Array
    cost: Integers


def _lines(tables: FaultTables, jobs: Sequence[str]) -> _Lines:
    given = tables.given_lines(jobs)
    told = np.asarray(given["cost"].combine_chunks().fill_null(NONE), dtype=np.int64)
    return _Lines(codes_in(given["job"], jobs), given["position"].combine_chunks(), told)


def given_away(bills: pa.Table) -> pa.Table:
    """Give the lines of bills that nobody paid for, but for labour: bike, job, position, cost.

    `bills` are rows of the relation `job_bills`; cost is null where it is not told.
    """
    bills = bills.filter(pc.is_valid(bills["lines"])).combine_chunks()
    lists = bills["lines"].combine_chunks()
    lines, parent = pc.list_flatten(lists), pc.list_parent_indices(lists)
    line_type, net, cost, position, is_goodwill = (
        pc.struct_field(lines, name)
        for name in ("line_type", "net", "cost", "position", "is_goodwill")
    )
    is_given = flags(is_goodwill) | flags(pc.equal(net, 0))
    kept = pa.array(np.flatnonzero(is_given & ~flags(pc.equal(line_type, _NEVER_PARTS))))
    columns = {name: bills[name].take(parent.take(kept)) for name in ("bike", "job")}
    return pa.table({**columns, "position": position.take(kept), "cost": cost.take(kept)})


def _parts(lines: _Lines, count: int) -> dict[str, Integers]:
    is_told = lines.cost != NONE
    return {
        "parts_minor": _sums(lines.job[is_told], lines.cost[is_told], count),
        "parts_without_cost": _sums(lines.job, ~is_told, count),
    }


def _parts_shared(
    lines: _Lines, come_backs: pa.Table, job: Integers, words: Vocabulary
) -> dict[str, Integers]:
    """Give by come-back its share of the lines of its job."""
    line, row = _pairs(lines.job, job)
    near = _nearness(lines.position, line, come_backs, row, words)
    nearest = np.full(len(lines.job), NONE, dtype=np.int64)
    np.maximum.at(nearest, line, near)
    is_its = near == nearest[line]
    line, row = line[is_its], row[is_its]
    cost, count = np.where(lines.cost == NONE, 0, lines.cost), len(job)
    is_untold = (lines.cost == NONE).astype(np.int64)
    return {
        "parts_minor": _sums(row, shared_equally(cost, line), count),
        "parts_without_cost": _sums(row, shared_equally(is_untold, line), count),
    }


def _pairs(line_job: Integers, row_job: Integers) -> tuple[Integers, Integers]:
    """Give every pair of a line and a row of the same job, by line."""
    known = np.flatnonzero(row_job != NONE)
    order = known[np.argsort(row_job[known], kind="stable")]
    first = np.searchsorted(row_job[order], line_job)
    count = np.searchsorted(row_job[order], line_job, side="right") - first
    line = np.repeat(np.arange(len(line_job)), count)
    within = np.arange(len(line)) - np.repeat(np.cumsum(count) - count, count)
    return line, order[np.repeat(first, count) + within]


def _nearness(
    position: pa.Array, line: Integers, come_backs: pa.Table, row: Integers, words: Vocabulary
) -> Integers:
    """Say of each pair whether line and come-back are at one position (2), in one system (1)."""
    theirs = come_backs.select(["position", "system"]).take(pa.array(row))
    at = position.take(pa.array(line))
    is_same = flags(pc.equal(at, theirs["position"].combine_chunks()))
    system = pa.array(systems_of(at.to_pylist(), words), pa.string())
    is_within = flags(pc.equal(system, theirs["system"].combine_chunks()))
    return np.where(is_same, 2, is_within.astype(np.int64))


def systems_of(positions: Sequence[str | None], words: Vocabulary) -> list[str | None]:
    """Give the system of the bike each position belongs to; None for none."""
    known = {code: word.system for code, word in words.positions.items()}
    return [
        None if code is None else known.get(code) or code.partition(".")[0] for code in positions
    ]
