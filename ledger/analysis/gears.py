"""Which gears a rider lives in: how the wear of a cassette is shared among its sprockets."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ledger.analysis.unfit import CannotFit

Floats = NDArray[np.float64]
_TEETH = re.compile(r"(\d{1,2})\s*t?", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Gears:
    """Wear by sprocket, smallest first; one entry a tooth count."""

    teeth: NDArray[np.int64]
    count: NDArray[np.int64]
    """Readings behind it."""
    rate: Floats
    """Wear per 1,000 km ridden in all gears, in the unit of the readings."""
    rate_low: Floats
    rate_high: Floats
    share: Floats
    """Of the wear of all sprockets read; null (NaN) where only one was."""
    share_low: Floats
    share_high: Floats


def teeth_of(point: str | None) -> int | None:
    """Give the tooth count that a reading's point names (`19T`, `19 t`, `19`); None for others."""
    found = _TEETH.fullmatch((point or "").strip())
    return int(found[1]) if found else None


def gears(
    teeth: ArrayLike,
    wear: ArrayLike,
    distance_km: ArrayLike,
    error: ArrayLike,
    *,
    level: float = 0.8,
    count_samples: int = 2000,
    seed: int = 20_260_930,
) -> Gears:
    """Give how fast each sprocket wears, and its share of the wear of all that were read.

    One entry a reading or stretch: what the sprocket wore over a distance ridden, in whatever
    gear, with the gauge's error (1 sd). The rate is a ratio of sums; the intervals draw gauge
    errors anew, wear not below 0. Sprockets that were never read have no part in the shares.
    Raises CannotFit for a distance that is not above 0.
    """
    of = np.asarray(teeth, dtype=np.int64)
    given = (wear, distance_km, error)
    worn, km, off = (np.broadcast_to(np.asarray(one, dtype=float), of.shape) for one in given)
    bad = np.flatnonzero(~(np.isfinite(worn + off) & (km > 0) & (off >= 0)))
    if len(bad):
        right = "Give a distance above 0, known wear, and an error from 0 up"
        raise CannotFit(f"reading {bad[0]}", "wear, distance_km, error", "cannot be used", right)
    kinds, place, count = np.unique(of, return_inverse=True, return_counts=True)
    thousands = np.bincount(place, weights=km) / 1000
    rate = np.maximum(np.bincount(place, weights=worn) / thousands, 0.0)
    sd = np.sqrt(np.bincount(place, weights=off**2)) / thousands
    draws = np.random.default_rng(seed).normal(size=(count_samples, len(kinds)))
    rates = np.maximum(rate + sd * draws, 0.0)
    tails = [(1 - level) / 2, (1 + level) / 2]
    low, high = np.quantile(rates, tails, axis=0) if len(kinds) else (rate, rate)
    return Gears(kinds, count, rate, low, high, *_shares(rate, rates, tails))


def _shares(rate: Floats, rates: Floats, tails: list[float]) -> tuple[Floats, Floats, Floats]:
    """Give each sprocket's share and its interval; nulls where there is nothing to share."""
    if len(rate) < 2 or not rate.sum():
        nothing = np.full(len(rate), np.nan)
        return nothing, nothing, nothing
    total = rates.sum(axis=1, keepdims=True)
    drawn = np.divide(rates, total, out=np.full_like(rates, np.nan), where=total > 0)
    low, high = np.nanquantile(drawn, tails, axis=0)
    return rate / rate.sum(), low, high
