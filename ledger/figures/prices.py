"""What parts cost at this shop: from its own bills, as at a date."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.queries import whole_table

LATEST = 25
"""How many of the newest bills a price is the median of."""


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
    bills: dict[str, list[tuple[datetime, float, float, float | None]]] = {}
    work = _work_by_job(lines)
    is_part = pc.and_(pc.equal(lines["line_type"], "part"), pc.greater(lines["net"], 0))
    for row in lines.filter(is_part).to_pylist():
        sort = sort_of(row["bike"], row["position"]) if row["position"] else None
        if sort is None:
            continue
        count = float(row["quantity"] or 1) or 1.0
        fitting, minutes = work.get((row["seq"], row["position"]), (0.0, None))
        bills.setdefault(sort, []).append(
            (row["occurred_at"], row["net"] / count, fitting, minutes)
        )
    return {sort: _price(found) for sort, found in bills.items()}


def _work_by_job(lines: pa.Table) -> dict[tuple[int, str], tuple[float, float | None]]:
    """Give the work charged on each bill at each position: money and minutes."""
    found: dict[tuple[int, str], tuple[float, float | None]] = {}
    for row in lines.filter(pc.equal(lines["line_type"], "labour")).to_pylist():
        if row["position"] is not None:
            key = (row["seq"], row["position"])
            net, minutes = found.get(key, (0.0, None))
            if row["minutes"] is not None:
                minutes = (minutes or 0.0) + row["minutes"]
            found[key] = (net + row["net"], minutes)
    return found


def _price(bills: list[tuple[datetime, float, float, float | None]]) -> PartPrice:
    newest = sorted(bills, key=lambda bill: bill[0])[-LATEST:]
    minutes = [bill[3] for bill in newest if bill[3] is not None]
    return PartPrice(
        part_minor=float(np.median([bill[1] for bill in newest])),
        fitting_minor=float(np.median([bill[2] for bill in newest])),
        fitting_minutes=float(np.median(minutes)) if minutes else None,
        count=len(newest),
    )
