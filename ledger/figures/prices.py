"""What parts cost at this shop: from its own bills, as at a date."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.queries import whole_table

LATEST = 25
"""How many of the newest bills a price is the median of."""
_AT_ONCE = 20_000


@dataclass(frozen=True, slots=True)
class PartPrice:
    """What one sort of part cost lately, net of tax, in minor units of the book's currency."""

    part_minor: float
    """Median of one part on the newest bills."""
    fitting_minor: float
    """Median of the work charged for it there; 0 where none was charged apart."""
    fitting_minutes: float | None
    """Median minutes of that work, where bills say any."""
    count: int
    """Bills it is the median of."""

    @property
    def fitted_minor(self) -> float:
        """Part and work."""
        return self.part_minor + self.fitting_minor


def bill_lines(book: Book, as_at: datetime | None = None, known_seq: int | None = None) -> pa.Table:
    """Give every line charged: seq, bike, job, occurred_at and the fields of a line."""
    bills = whole_table(book, "job_bills", as_at, known_seq)
    bills = bills.filter(pc.is_valid(bills["lines"])).combine_chunks()
    lists = bills["lines"].combine_chunks()
    lines = pc.list_flatten(lists)
    parents = bills.select(["seq", "bike", "job", "occurred_at"]).take(
        pc.list_parent_indices(lists)
    )
    for name in ("line_type", "code", "position", "quantity", "net", "cost", "minutes"):
        parents = parents.append_column(name, pc.struct_field(lines, name))
    return parents


def part_prices(lines: pa.Table, sort_of: Callable[[str, str], str | None]) -> dict[str, PartPrice]:
    """Give the price of each sort of part that was charged.

    `lines` as `bill_lines` gives them; `sort_of` tells what sort a part charged for a bike (tag)
    at a position is, None for none that is asked about. What was given away (net 0) is no price.
    """
    is_part = pc.and_(pc.equal(lines["line_type"], "part"), pc.greater(lines["net"], 0))
    names = ("seq", "bike", "occurred_at", "position", "quantity", "net")
    bills: dict[str, list[_Bill]] = {}
    for some in lines.select(names).filter(is_part).to_batches(_AT_ONCE):
        for row in some.to_pylist():
            sort = sort_of(row["bike"], row["position"]) if row["position"] else None
            if sort is not None:
                count = float(row["quantity"] or 1) or 1.0
                bill = _Bill(row["occurred_at"], row["net"] / count, row["seq"], row["position"])
                bills.setdefault(sort, []).append(bill)
    newest = {
        sort: sorted(found, key=lambda bill: bill.at)[-LATEST:] for sort, found in bills.items()
    }
    work = _work_on(lines, {bill.seq for found in newest.values() for bill in found})
    return {sort: _price(found, work) for sort, found in newest.items()}


class _Bill(NamedTuple):
    """A part on a bill."""

    at: datetime
    net: float
    """Of one of it."""
    seq: int
    position: str


_Work = Mapping[tuple[int, str], tuple[float, float | None]]


def _work_on(lines: pa.Table, seqs: set[int]) -> _Work:
    """Give the work charged on some bills at each position: money and minutes."""
    is_of_them = pc.is_in(lines["seq"], value_set=pa.array(sorted(seqs), pa.int64()))
    is_work = pc.and_(pc.equal(lines["line_type"], "labour"), is_of_them)
    found: dict[tuple[int, str], tuple[float, float | None]] = {}
    for row in lines.filter(is_work).to_pylist():
        if row["position"] is not None:
            key = (row["seq"], row["position"])
            net, minutes = found.get(key, (0.0, None))
            if row["minutes"] is not None:
                minutes = (minutes or 0.0) + row["minutes"]
            found[key] = (net + row["net"], minutes)
    return found


def _price(newest: list[_Bill], work: _Work) -> PartPrice:
    fittings = [work.get((bill.seq, bill.position), (0.0, None)) for bill in newest]
    minutes = [one for _, one in fittings if one is not None]
    return PartPrice(
        part_minor=float(np.median([bill.net for bill in newest])),
        fitting_minor=float(np.median([net for net, _ in fittings])),
        fitting_minutes=float(np.median(minutes)) if minutes else None,
        count=len(newest),
    )
