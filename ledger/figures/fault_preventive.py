"""Preventive treatments, and which of them stand on a bill."""

from __future__ import annotations

import pyarrow as pa
import pyarrow.compute as pc


def with_billed(work: pa.Table, bills: pa.Table) -> pa.Table:
    """Give preventive treatments with `is_billed`: a line at their position was paid for.

    `work` are rows of the relation `preventive_work`, `bills` those of `job_bills` of their jobs.
    """
    asked = _named(*(work[name].combine_chunks() for name in ("bike", "job", "position")))
    is_billed = pc.is_in(asked, value_set=_paid(work, bills)).fill_null(False)
    return work.append_column("is_billed", is_billed)


def _paid(work: pa.Table, bills: pa.Table) -> pa.Array:
    """Give bike, job and position in one text of each line paid for where work was done."""
    bills = bills.filter(pc.is_valid(bills["lines"])).combine_chunks()
    if not len(bills):
        return pa.array([], pa.string())
    lists = bills["lines"].combine_chunks()
    lines = pc.list_flatten(lists)
    given_away = pc.fill_null(pc.struct_field(lines, "is_goodwill"), False)
    is_paid = pc.and_(pc.invert(given_away), pc.greater(pc.struct_field(lines, "net"), 0))
    place = pc.struct_field(lines, "position")
    is_asked = pc.fill_null(pc.and_(is_paid, pc.is_in(place, pc.unique(work["position"]))), False)
    bill = pc.list_parent_indices(lists).filter(is_asked)
    bike, job = (bills[name].combine_chunks().take(bill) for name in ("bike", "job"))
    return _named(bike, job, place.filter(is_asked))


def _named(bike: pa.Array, job: pa.Array, position: pa.Array) -> pa.Array:
    return pc.binary_join_element_wise(bike, job, position, "\n")
