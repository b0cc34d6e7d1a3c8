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
_COUNT_ROUNDS = 6


@dataclass(frozen=True)
class SprocketSeen:
    """Stretches between two readings of one sprocket, or from new to the first; one entry each."""

    rider: NDArray[np.int64]
    """Whose bike: any whole numbers, the same for the same rider everywhere."""
    distance_km: Floats
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


def fit_sprocket_wear(seen: SprocketSeen, weight: Floats | None = None) -> SprocketWear:
    """Give the wear model of stretches; `weight` counts each one so many times (all once).

    A growth under excess that comes out negative is 0, and `base` then the mean rate. The spread
    between parts is by moments, what is left after gauge error. Raises CannotFit where nothing
    has a weight, or nothing grew.
    """
    times = np.ones(len(seen.wear)) if weight is None else weight
    if not times.sum():
        raise CannotFit("stretches", "wear", "there is none", "Give two readings of a sprocket")
    design = np.column_stack([seen.distance_km, seen.distance_km * seen.excess]) / 1000
    found, spread_squared = _least_squares(design, seen.wear, times), 0.04
    for _ in range(_COUNT_ROUNDS):
        variance = seen.error**2 + spread_squared * (design @ found) ** 2
        found = _least_squares(design, seen.wear, times / np.maximum(variance, 1e-12))
        fitted = design @ found
        left = times * ((seen.wear - fitted) ** 2 - seen.error**2)
        spread_squared = max(0.0, float(left.sum() / np.sum(times * fitted**2)))
    return SprocketWear(float(found[0]), float(found[1]), float(np.sqrt(np.log1p(spread_squared))))


def _least_squares(design: Floats, wear: Floats, weight: Floats) -> Floats:
    """Give the two coefficients, neither below 0."""
    weighted = design * weight[:, None]
    squares, products = weighted.T @ design, weighted.T @ wear
    found = np.linalg.pinv(squares) @ products
    if found[1] < 0 or found[0] <= 0 or squares[1, 1] == 0:
        found = np.array([products[0] / squares[0, 0], 0.0])
    if found[0] <= 0:
        right = "Give stretches over which sprockets wore more than the gauge errs"
        raise CannotFit("stretches", "wear", "did not grow on the whole", right)
    return found
