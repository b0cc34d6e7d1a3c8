"""Bikes as they are compared: with a treatment or without, and when trouble was found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ledger.analysis.funnel_columns import Coded, coded, flags_of, floats_of, one_stratum
from ledger.analysis.life_bounds import (
    BadLives,
    BoolArray,
    Column,
    FloatArray,
    TooFewLives,
    figures,
    refuse,
    same_length,
)

CodeArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Bikes:
    """What was seen of each bike since its landmark, one entry a bike, in one unit of time."""

    is_treated: BoolArray
    strata: Coded
    fine_until: FloatArray
    found_at: FloatArray
    """Infinite where no trouble was found."""
    time: FloatArray
    """Until trouble was found, or the last contact."""

    @property
    def is_found(self) -> BoolArray:
        """Say where trouble was found."""
        return np.asarray(np.isfinite(self.found_at))

    @property
    def group(self) -> CodeArray:
        """Give the number of each bike's stratum and arm: twice the stratum, 1 more if treated."""
        return 2 * self.strata.code + self.is_treated

    @property
    def count_groups(self) -> int:
        """Give how many groups there can be."""
        return 2 * len(self.strata.names)


def bikes_of(
    is_treated: Column,
    fine_until: Column,
    found_at: Column,
    last_contact: Column,
    stratum: Column | None,
) -> Bikes:
    """Give the columns of `prevention.prevention` as bikes; errors as it says."""
    arm = flags_of(is_treated, "is_treated")
    fine, contact = floats_of(fine_until, "fine_until"), floats_of(last_contact, "last_contact")
    found = _or_never(found_at, "found_at")
    columns = {"fine_until": fine, "found_at": found, "last_contact": contact}
    same_length(arm.astype(float), columns)
    if arm.all() or not arm.any():
        wrong = "all bikes had it" if arm.any() else "no bike had it"
        raise TooFewLives("bikes", "is_treated", wrong, "It takes bikes with it and without")
    _refuse_times(fine, found, contact)
    count = len(arm)
    strata = (
        one_stratum(count) if stratum is None else coded(stratum, "stratum", count, may_lack=True)
    )
    return Bikes(arm, strata, fine, found, np.minimum(found, contact))


def _refuse_times(fine: FloatArray, found: FloatArray, contact: FloatArray) -> None:
    for field, column in (("fine_until", fine), ("last_contact", contact)):
        is_time = (column >= 0) & np.isfinite(column)
        refuse(~is_time, field, "it is before the landmark, or no time", "Give 0 or a time")
    refuse(found <= 0, "found_at", "it is not after the landmark", "Give a time above 0, or None")
    refuse(found < fine, "fine_until", "it is after trouble was found", "Give an earlier look")
    is_seen = np.isfinite(found)
    late = is_seen & (found > contact)
    refuse(late, "last_contact", "it is before trouble was found", "Give that time or a later one")
    refuse(fine > contact, "last_contact", "it is before fine_until", "Give that or a later time")


def _or_never(column: Column, field: str) -> FloatArray:
    """Give a column as floats, infinite where nothing stands."""
    if isinstance(column, np.ndarray) and column.dtype.kind in "iuf":
        floats = column.astype(np.float64)
        return np.where(np.isnan(floats), np.inf, floats)
    return figures(column, field, missing=np.inf)


def minutes_of(minutes: Column | None, count_rows: int) -> FloatArray:
    """Give the minutes, NaN where there was no next job."""
    if minutes is None:
        return np.full(count_rows, np.nan)
    taken = _or_never(minutes, "minutes")
    if len(taken) != count_rows:
        wrong = f"it has {len(taken)} rows where the first has {count_rows}"
        raise BadLives("column", "minutes", wrong, "Give one figure a row")
    refuse(taken < 0, "minutes", "they are below 0", "Give minutes, or None for no next job")
    return np.where(np.isinf(taken), np.nan, taken)
