"""What is known of each life: over it is by `upper` at the latest, and was not yet at `lower`."""

from __future__ import annotations

from dataclasses import dataclass
from numbers import Integral, Real
from typing import Any, TypeAlias

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from ledger.analysis.unfit import CannotFit

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Column: TypeAlias = Any
"""A plain sequence, a numpy array or an Arrow column."""
LEAST_RESAMPLES = 20
"""Fewer samples have no percentiles worth the name: those of a single one lie on one point."""


class BadLives(CannotFit):
    """A row that cannot be a life, or another figure that cannot be what it is given as."""


class TooFewLives(CannotFit):
    """The figures are right, but say too little to fit what was asked; the message says why."""


@dataclass(frozen=True, slots=True, eq=False)
class Bounds:
    """Lives known within bounds, one row each, in one unit (km or days)."""

    lower: FloatArray
    """Still good then; 0 where no look before the end said so."""
    upper: FloatArray
    """Over by then; infinite where still in use. Equal to `lower` where the end was seen."""
    entry: FloatArray
    """First under observation then: a life that ended before could not have been seen."""
    weights: FloatArray
    """How many lives the row stands for."""

    @property
    def is_over(self) -> BoolArray:
        """Say which lives are known to be over."""
        return np.asarray(np.isfinite(self.upper))

    @property
    def is_exact(self) -> BoolArray:
        """Say which lives are known to the point."""
        return np.asarray(self.lower == self.upper)

    def kept(self, is_kept: BoolArray) -> Bounds:
        """Give the marked rows only."""
        columns = (self.lower, self.upper, self.entry, self.weights)
        return Bounds(*(column[is_kept] for column in columns))


def figures(column: Column, field: str, missing: float | None = None) -> FloatArray:
    """Give a column as floats, None and null replaced by `missing`; `BadLives` names bad rows."""
    refuse_no_column(column, field)
    refuse_dates(column, field)
    try:
        floats = np.asarray(_filled(column, missing), dtype=np.float64)
    except (TypeError, ValueError, pa.ArrowNotImplementedError):
        raise BadLives("column", field, "some of it is not a number", "Give numbers only") from None
    if floats.ndim != 1:
        raise BadLives("column", field, f"it has {floats.ndim} dimensions", "Give one figure a row")
    refuse(np.isnan(floats), field, "it is not a number", "Give a number, or leave the row out")
    return floats


def _filled(column: Column, missing: float | None) -> Any:
    if not isinstance(column, pa.Array | pa.ChunkedArray):
        return [missing if value is None else value for value in column]
    filled = column if missing is None else pc.fill_null(pc.cast(column, pa.float64()), missing)
    return filled.to_numpy(zero_copy_only=False) if isinstance(column, pa.Array) else filled


def in_short(value: object) -> str:
    """Give a value as a program writes it, on one line and cut where it is long."""
    told = " ".join(repr(value).split())
    return told if len(told) <= 60 else f"{told[:58]} …"


def refuse_no_column(column: Column, field: str) -> None:
    """Raise `BadLives` for None, text and single figures, which are no columns."""
    is_rows = hasattr(column, "__iter__") and getattr(column, "ndim", 1) > 0
    if not is_rows or isinstance(column, str | bytes):
        raise BadLives(
            "column", field, f"it is {in_short(column)}, no column", "Give one figure a row"
        )


def refuse_dates(column: Column, field: str) -> None:
    """Raise `BadLives` for dates, times and durations, whose numbers hang on how they are kept."""
    if isinstance(column, pa.Array | pa.ChunkedArray):
        is_listed = pa.types.is_dictionary(column.type)
        is_time = pa.types.is_temporal(column.type.value_type if is_listed else column.type)
    elif isinstance(column, np.ndarray) and column.dtype.kind != "O":
        is_time = column.dtype.kind in "mM"
    else:
        is_time = isinstance(column, list | tuple) and any(
            isinstance(value, np.datetime64 | np.timedelta64) for value in column
        )
    if is_time:
        raise BadLives("column", field, "it has dates or times", "Give ages, as numbers")


def refuse(is_bad: BoolArray, field: str, wrong: str, right: str) -> None:
    """Raise `BadLives` naming the first row marked, counted from 0."""
    if is_bad.any():
        raise BadLives(f"row {int(np.argmax(is_bad))}", field, wrong, right)


def same_length(first: FloatArray, others: dict[str, FloatArray]) -> None:
    """Raise `BadLives` naming the column that has not as many rows as the first."""
    for field, column in others.items():
        if len(column) != len(first):
            wrong = f"it has {len(column)} rows where the first has {len(first)}"
            raise BadLives("column", field, wrong, "Give one figure a row")


def share_between(share: float, field: str) -> None:
    """Raise `BadLives` for a share that is not above 0 and below 1."""
    right = "Give a share between 0 and 1"
    refuse_no_figure(share, field, right)
    if not 0 < share < 1:
        raise BadLives("argument", field, f"it is {share}", right)


def refuse_no_figure(value: object, field: str, right: str) -> None:
    """Raise `BadLives` for an argument that is no single number: text, None, a column."""
    if not isinstance(value, Real) or isinstance(value, bool):
        raise BadLives("argument", field, f"it is {in_short(value)}, no number", right)


def refuse_draws(resamples: int, seed: int) -> None:
    """Raise `BadLives` for a seed that is none, and for too few samples to have percentiles."""
    right = f"Give a whole number from {LEAST_RESAMPLES} up"
    if not isinstance(resamples, Integral) or resamples < LEAST_RESAMPLES:
        raise BadLives("argument", "resamples", f"it is {in_short(resamples)}", right)
    if not isinstance(seed, Integral) or seed < 0:
        raise BadLives(
            "argument", "seed", f"it is {in_short(seed)}", "Give a whole number from 0 up"
        )


def checked_bounds(
    lower: Column, upper: Column, *, entry: Column | None = None, weights: Column | None = None
) -> Bounds:
    """Give the lives as bounds, rows of no weight left out.

    Upper None or infinite means still in use. Raises `BadLives` for bounds that are swapped,
    negative, not numbers or both zero, for an entry past the lower bound and for a weight below 0.
    """
    low = figures(lower, "lower")
    high = figures(upper, "upper", missing=np.inf)
    begin = np.zeros(len(low)) if entry is None else figures(entry, "entry", missing=0.0)
    weight = np.ones(len(low)) if weights is None else figures(weights, "weights")
    same_length(low, {"upper": high, "entry": begin, "weights": weight})
    refuse((low < 0) | np.isinf(low), "lower", "a life begins at 0", "Give 0 or a length")
    refuse(high < low, "upper", "it is below lower", "Give the later of the two as upper")
    refuse(high == 0, "upper", "a life cannot be over at 0", "Give a length above 0")
    refuse(begin < 0, "entry", "a life begins at 0", "Give 0 where it was watched from new")
    refuse(begin > low, "entry", "it is past lower", "Give the length at the first look")
    is_weight = (weight >= 0) & np.isfinite(weight)
    refuse(~is_weight, "weights", "it counts lives", "Give 0 or a count")
    return Bounds(low, high, begin, weight).kept(weight > 0)
