"""Stretches of labour costed one at a time, by the terms in force on their local day."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.rounding import rounded_quotient
from ledger.figures.fault_arrays import NONE, NULL_TIME, Coded, Flags, Integers, coded, codes_in
from ledger.figures.fault_arrays import micros as micros_of
from ledger.figures.terms_in_force import NOT_TOLD, TermsInForce, day_of

KINDS = ("quoted", "found later", "come-back", "goodwill")
QUOTED, FOUND_LATER, COME_BACK, GOODWILL = range(4)
NO_DAY = np.iinfo(np.int32).min
_DAY_US = 86_400_000_000
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_LARGEST = 2**62


def local_days(column: pa.ChunkedArray | pa.Array, zone: ZoneInfo) -> Integers:
    """Give the local day of instants, as days since 1970-01-01; NO_DAY for null."""
    micros = micros_of(column)
    is_told = micros != NULL_TIME
    if not is_told.any():
        return np.full(len(micros), NO_DAY, dtype=np.int64)
    first = int(micros[is_told].min()) // _DAY_US - 1
    last = int(micros.max()) // _DAY_US + 2
    begins = np.array([_midnight_us(day, zone) for day in range(first, last + 1)], dtype=np.int64)
    return np.where(is_told, first - 1 + np.searchsorted(begins, micros, side="right"), NO_DAY)


def first_used_days(column: pa.ChunkedArray | pa.Array) -> Integers:
    """Give days written as `2026-03-01` as days since 1970-01-01; NO_DAY for null."""
    days = pc.strptime(column, format="%Y-%m-%d", unit="s").cast(pa.date32()).cast(pa.int32())
    filled = pc.fill_null(days, NO_DAY)
    return np.asarray(filled.to_numpy(zero_copy_only=False), dtype=np.int64)


def _midnight_us(day: int, zone: ZoneInfo) -> int:
    begun = datetime.combine(day_of(day), time(), zone).astimezone(UTC) - _EPOCH
    return (begun.days * 86_400 + begun.seconds) * 1_000_000


@dataclass(frozen=True, slots=True, eq=False)
class Stretches:
    """N live stretches of labour, each (N,); money in minor units, rounded one at a time."""

    job: Integers
    """Row of its job; NONE where it is of no job that was opened."""
    day: Integers
    """Local."""
    kind: Integers
    """Place in KINDS."""
    task: Coded
    minutes: Integers
    wage: Integers
    """Of an hour; NOT_TOLD where none was told."""
    wages_minor: Integers
    consumables_minor: Integers
    fixed_minor: Integers

    @property
    def is_told(self) -> Flags:
        """Whether a wage was told."""
        return np.asarray(self.wage != NOT_TOLD)


def costed(spells: pa.Table, job: Integers, terms: TermsInForce, zone: ZoneInfo) -> Stretches:
    """Give the rows of `labour_spells` costed; `job` (N,) is the row of each one's job."""
    day = local_days(spells["occurred_at"], zone)
    minutes = np.asarray(spells["minutes"].to_numpy(), dtype=np.int64)
    wage, is_even = terms.wages_on(spells["actor"], day), terms.is_half_even(day)
    over, under = terms.fixed_charge_on(day)
    kind = codes_in(spells["minutes_kind"], KINDS)
    sixty = np.full(len(day), 60, dtype=np.int64)
    paid = np.where(wage == NOT_TOLD, 0, wage)
    return Stretches(
        job=job,
        day=day,
        # A clock that no start tells the kind of counts as what its work usually is.
        kind=np.where(kind == NONE, QUOTED, kind),
        task=coded(spells["task"]),
        minutes=minutes,
        wage=wage,
        wages_minor=rounded_product(minutes, paid, sixty, is_even),
        consumables_minor=rounded_product(minutes, terms.consumables_on(day), sixty, is_even),
        fixed_minor=rounded_product(minutes, over, 60 * under, is_even),
    )


def rounded_product(
    minutes: Integers, over: Integers, under: Integers, is_even: Flags
) -> npt.NDArray[np.int64]:
    """Give minutes x over / under, each rounded to a whole number; exact whatever the size."""
    if not len(minutes) or int(minutes.max()) * int(over.max()) < _LARGEST:
        return rounded_quotient(minutes * over, under, is_even)
    product = minutes.astype(object) * over.astype(object)
    whole, left = np.divmod(product, under.astype(object))
    is_half, is_over = 2 * left == under, 2 * left > under
    is_up = is_over | (is_half & (~is_even | (whole % 2 == 1)))
    return np.asarray(whole + is_up.astype(object), dtype=np.int64)
