"""Whole figures summed by job, and the standard cost of what was quoted."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.variances import variances_minor
from ledger.figures.fault_arrays import NONE, Integers
from ledger.figures.job_stretches import NO_DAY
from ledger.figures.terms_in_force import TermsInForce

Column = npt.NDArray[Any]
"""A column of a table: whole figures or flags."""


def sums(group: Integers, values: Column, count: int) -> Integers:
    """Give whole sums by group (count,); a row of group NONE is in none."""
    kept = group != NONE
    if not kept.all():
        group, values = group[kept], values[kept]
    found = np.zeros(count, dtype=np.int64)
    np.add.at(found, group, values.astype(np.int64, copy=False))
    return found


def whole(column: pa.ChunkedArray | pa.Array, missing: int = 0) -> Integers:
    """Give a column of whole figures; `missing` for null."""
    filled = pc.fill_null(column, missing) if column.null_count else column
    return np.asarray(filled.to_numpy(zero_copy_only=False), dtype=np.int64)


def standard(
    actual_minutes: Integers,
    actual_minor: Integers,
    quoted_minutes: Integers,
    closed_day: Integers,
    terms: TermsInForce,
) -> dict[str, Column]:
    """Give is_standard, standard_minor and efficiency_minor of N jobs or tasks, each (N,).

    Only what is closed, has minutes both quoted and worked, and a wage told on its day of
    closing has a standard; the others' money is 0.
    """
    total, count = terms.mean_wage_on(closed_day)
    # Flags are taken too; what is declared of it is narrower.
    is_even: Any = terms.is_half_even(closed_day)
    is_both = (actual_minutes > 0) & (quoted_minutes > 0)
    is_standard = is_both & (closed_day != NO_DAY) & (count > 0)
    found = variances_minor(actual_minutes, actual_minor, quoted_minutes, total, count, is_even)
    return {
        "is_standard": is_standard,
        "standard_minor": np.where(is_standard, actual_minor - found.total, 0),
        "efficiency_minor": np.where(is_standard, found.efficiency, 0),
    }
