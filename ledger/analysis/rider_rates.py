"""How fast each rider's chains wear, from few readings a rider: normal rates, partially pooled.

A rider's mean rate is drawn towards the shop's by the spread between riders, estimated by
moments (DerSimonian & Laird, Controlled Clinical Trials 7, 1986). Given as a log-normal with the
posterior's mean and spread, since wear does not run backwards.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ledger.analysis.unfit import CannotFit, refuse_rows

Floats = NDArray[np.float64]
_LEAST_OF_SHOP = 0.05
"""Share of the shop's mean below which no rider's rate is taken to lie."""


@dataclass(frozen=True, slots=True)
class RiderRates:
    """Wear per 1,000 km; one entry a rider of `riders`."""

    riders: NDArray[np.int64]
    distance_km: Floats
    log_mean: Floats
    log_sd: Floats
    shop_rate: float
    between_sd: float
    """Spread between riders, in wear per 1,000 km."""

    @property
    def rate(self) -> Floats:
        """Mean rates."""
        found: Floats = np.exp(self.log_mean + self.log_sd**2 / 2)
        return found

    def pace(self, riders: ArrayLike) -> Floats:
        """Give any riders' rates beside the shop's mean; 1 for those never measured."""
        log_mean, log_sd = self.of(riders)
        found: Floats = np.exp(log_mean + log_sd**2 / 2) / self.shop_rate
        return found

    def of(self, riders: ArrayLike) -> tuple[Floats, Floats]:
        """Give log mean and log sd for any riders; those never measured are like any of the shop.

        Their log sd is the spread between riders.
        """
        asked = np.asarray(riders, dtype=np.int64)
        place = np.minimum(np.searchsorted(self.riders, asked), len(self.riders) - 1)
        is_known = self.riders[place] == asked
        mean, sd = _log_normal(np.array([self.shop_rate]), np.array([self.between_sd]))
        return (
            np.where(is_known, self.log_mean[place], mean),
            np.where(is_known, self.log_sd[place], sd),
        )


def rider_rates(
    rider: ArrayLike, distance_km: ArrayLike, wear: ArrayLike, error: ArrayLike
) -> RiderRates:
    """Give pooled rates from stretches: who, km ridden, what it wore, gauge error (1 sd).

    A rider's own estimate is all wear over all km. Raises CannotFit where nothing wore, and for
    a distance not above 0, an error below 0 and any figure that is not finite.
    """
    who = np.asarray(rider, dtype=np.int64)
    given = (distance_km, wear, error)
    km, worn, off = (np.broadcast_to(np.asarray(one, dtype=float), who.shape) for one in given)
    refuse_rows("stretch", "distance_km", km, np.isfinite(km) & (km > 0), "Give km above 0")
    refuse_rows("stretch", "wear", worn, np.isfinite(worn), "Give a figure")
    refuse_rows("stretch", "error", off, np.isfinite(off) & (off >= 0), "Give a figure from 0 up")
    if not len(who) or worn.sum() <= 0:
        right = "Give stretches with a distance above 0 over which wear grew"
        raise CannotFit("stretches", "wear", "gives no rate", right)
    riders, place = np.unique(who, return_inverse=True)
    thousands = np.bincount(place, weights=km) / 1000
    own = np.bincount(place, weights=worn) / thousands
    variance = np.maximum(np.bincount(place, weights=off**2) / thousands**2, 1e-12)
    mean, between = pooled_mean(own, variance)
    drawn_in = variance / (variance + between)
    rate = own + drawn_in * (mean - own)
    sd = np.sqrt(drawn_in * between + drawn_in**2 * _variance_of_mean(variance, between))
    log_mean, log_sd = _log_normal(np.maximum(rate, _LEAST_OF_SHOP * mean), sd)
    return RiderRates(riders, thousands * 1000, log_mean, log_sd, mean, float(np.sqrt(between)))


def pooled_mean(own: Floats, variance: Floats) -> tuple[float, float]:
    """Give the mean of estimates of known variance, and the variance between what they are of."""
    weight = 1 / variance
    plain = float(np.average(own, weights=weight))
    heterogeneity = float(np.sum(weight * (own - plain) ** 2)) - (len(own) - 1)
    room = weight.sum() - np.sum(weight**2) / weight.sum()
    between = max(0.0, heterogeneity / float(room)) if room > 0 else 0.0
    return float(np.average(own, weights=1 / (variance + between))), between


def _variance_of_mean(variance: Floats, between: float) -> float:
    return float(1 / np.sum(1 / (variance + between)))


def _log_normal(mean: Floats, sd: Floats) -> tuple[Floats, Floats]:
    """Give log mean and log sd of the log-normal with this mean and sd."""
    log_variance = np.log1p((sd / mean) ** 2)
    return np.log(mean) - log_variance / 2, np.sqrt(log_variance)
