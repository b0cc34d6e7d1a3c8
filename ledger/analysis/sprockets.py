"""How much faster sprockets wear while the chain over them runs past its limit, learned from data.

Wear per 1,000 km is taken as `base` while the chain is within its limit, and grows in proportion
to the mean share by which the chain is past it: base + per_excess x excess. The simplest model
that can only rise; fitted by least squares, weighted by gauge error and the spread between parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ledger.analysis.unfit import CannotFit

Floats = NDArray[np.float64]
_COUNT_ROUNDS = 5
ALIKE = 0.5
"""How far, as a share, one sort of sprocket may answer to a worn chain other than another does (1
sd): an assumption, which few stretches lean on and many do not."""


@dataclass(frozen=True)
class SprocketSeen:
    """Stretches between two readings of one sprocket, or from new to the first; one entry each."""

    rider: NDArray[np.int64]
    """Whose bike: any whole numbers, the same for the same rider everywhere."""
    distance_km: Floats
    """Times how fast this rider wears chains beside the shop's mean, where that is known: who
    wears chains fast wears sprockets fast, and lets chains run long more often than not."""
    wear: Floats
    """What the reading grew by, in its own unit; may be negative by gauge error."""
    excess: Floats
    """Mean share by which the chain was past its limit: 0 within it, 1 at twice the limit."""
    error: Floats
    """1 sd of `wear` from the gauge."""


@dataclass(frozen=True, slots=True)
class SprocketWear:
    """How a sprocket wears, in its unit per 1,000 km."""

    base: float
    per_excess: float
    """Added for each whole limit by which the chain is past its own, on average."""
    log_sd: float
    """Spread between parts: sd of the natural log of their rates."""

    def rate(self, excess: ArrayLike) -> Floats:
        """Give the mean wear per 1,000 km at a mean excess."""
        return self.base + self.per_excess * np.asarray(excess, dtype=float)


def sprocket_seen(
    rider: ArrayLike, distance_km: ArrayLike, wear: ArrayLike, excess: ArrayLike, error: ArrayLike
) -> SprocketSeen:
    """Give stretches as arrays of one length; raises CannotFit where a figure cannot be."""
    who = np.asarray(rider, dtype=np.int64)
    given = (distance_km, wear, excess, error)
    km, grown, past, off = (
        np.broadcast_to(np.asarray(one, dtype=float), who.shape) for one in given
    )
    bad = ~(np.isfinite(km + grown + past + off) & (km > 0) & (past >= 0) & (off >= 0))
    if bad.any():
        row = int(np.flatnonzero(bad)[0])
        wrong = f"is {km[row]:g} km, {grown[row]:g} worn, excess {past[row]:g}, error {off[row]:g}"
        right = "Give a distance above 0, and figures that are known, excess and error from 0 up"
        raise CannotFit(f"stretch {row}", "distance_km, wear, excess, error", wrong, right)
    return SprocketSeen(who, km, grown, past, off)


def mean_excess(start: ArrayLike, end: ArrayLike, limit: ArrayLike) -> Floats:
    """Give the mean share past the limit of a chain that wears evenly from `start` to `end`.

    The mean of max(0, (x - limit) / limit) over x in start..end: 0 up to the limit; from new to
    twice the limit 1/4.
    """
    first, last, most = (np.asarray(one, dtype=float) for one in (start, end, limit))
    first, last = np.minimum(first, last), np.maximum(first, last)
    over_first, over_last = np.maximum(first - most, 0), np.maximum(last - most, 0)
    grown = last - first
    area = (over_last**2 - over_first**2) / np.where(grown > 0, 2 * grown, 1.0)
    found: Floats = np.where(grown > 0, area, over_last) / most
    return found


def fit_sprocket_wear(
    seen: SprocketSeen, weight: Floats | None = None, like: SprocketWear | None = None
) -> SprocketWear:
    """Give the wear model of stretches; `weight` counts each one so many times (all once).

    A growth under excess that comes out negative is 0, and `base` then the mean rate. The spread
    between parts is by moments, what is left after gauge error. With `like`, a sort seen more
    often, per_excess over base is drawn towards that sort's, give or take ALIKE. Raises CannotFit
    where nothing has a weight, or nothing grew.
    """
    times = np.ones(len(seen.wear)) if weight is None else weight
    if not times.sum():
        raise CannotFit("stretches", "wear", "there is none", "Give two readings of a sprocket")
    km = seen.distance_km / 1000
    ratio = like.per_excess / like.base if like is not None else 0.0
    base, per_excess = _least_squares(km, seen, times, 0.0, 0.0)
    squared = 0.04
    for _ in range(_COUNT_ROUNDS):
        fitted = km * (base + per_excess * seen.excess)
        variance = np.maximum(seen.error**2 + squared * fitted**2, 1e-12)
        pull = 1 / (ALIKE * ratio * base) ** 2 if ratio else 0.0
        base, per_excess = _least_squares(km, seen, times / variance, ratio, pull)
        fitted = km * (base + per_excess * seen.excess)
        left = times @ ((seen.wear - fitted) ** 2 - seen.error**2)
        squared = max(0.0, float(left / (times @ fitted**2)))
    return SprocketWear(base, per_excess, float(np.sqrt(np.log1p(squared))))


def _least_squares(
    km: Floats, seen: SprocketSeen, weight: Floats, ratio: float, pull: float
) -> tuple[float, float]:
    """Give base and per_excess, neither below 0; `pull` weighs per_excess = ratio x base."""
    weighted, under = weight * km, km * seen.excess
    first = weighted @ km + pull * ratio**2
    both, second = weighted @ under - pull * ratio, (weight * under) @ under + pull
    wear, worn = weighted @ seen.wear, (weight * under) @ seen.wear
    room = first * second - both**2
    if room > 1e-12 * first * second:
        base = (wear * second - worn * both) / room
        per_excess = (worn * first - wear * both) / room
        if base > 0 and per_excess > 0:
            return float(base), float(per_excess)
    if wear <= 0:
        right = "Give stretches over which sprockets wore more than the gauge errs"
        raise CannotFit("stretches", "wear", "did not grow on the whole", right)
    return float(wear / (weighted @ km)), 0.0
