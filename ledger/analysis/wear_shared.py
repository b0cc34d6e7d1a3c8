"""What readings share, fitted beside what is usual: the mixed model behind `wear_scale`.

Shown = start + slope x exposure + the gauge's bias and gain, with a part's own start, slope,
wandering and the gauge's error as variances. Variances are the likeliest beside the usual ones,
which count as PRIOR_READINGS readings each. A start known beforehand, like a gauge, is off by no
more than a reading's usual error, one standard deviation: so where exposures hardly differ, and
start and slope cannot be told apart, the start is what it was said to be.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ledger.analysis import reml_drawn
from ledger.analysis.reml_blocks import Stack
from ledger.analysis.wear_data import Family, Flags, Floats, Ints, stacks
from ledger.analysis.wear_design import Design, design_of, known_groups
from ledger.analysis.wear_rough import Rough

PRIOR_READINGS = 4.0
LEAST_SHARE = 0.4
"""No standard error is taken as less than this share of the usual one."""
GAIN_SPREAD = 0.1
UNKNOWN_START = 0.35
"""How far off a first look at an unknown start may be, as a share of the usual wear."""
SLOPE_SPREAD = 1.0
"""How far off a rough rate may be, as a share of it."""
MODEL_SPREAD = 0.5


@dataclass(frozen=True, slots=True)
class Shared:
    """Fixed effects by name with their covariance, and the variances: slope, start, found, wander
    and each gauge's error.
    """

    theta: Floats
    place: Mapping[tuple[str, int], int]
    beta: Floats
    covariance: Floats
    usual: Mapping[str, float]
    """Standard deviation of an effect of this sort that no reading tells."""

    def value(self, name: tuple[str, int]) -> float:
        """Give an effect; nought for one that no reading tells."""
        at = self.place.get(name)
        return 0.0 if at is None else float(self.beta[at])

    def error(self, weights: Mapping[tuple[str, int], float]) -> float:
        """Give the standard deviation of a weighted sum of effects."""
        known = np.zeros(len(self.beta))
        variance = 0.0
        for name, weight in weights.items():
            at = self.place.get(name)
            if at is None:
                variance += (weight * self.usual[name[0]]) ** 2
            else:
                known[at] += weight
        variance += float(known @ self.covariance @ known)
        return float(np.sqrt(max(variance, 0.0)))


def fit_shared(
    family: Family, used: Flags, first: Rough, base: Floats, prior: Floats, usual: Floats
) -> Shared:
    """Fit the used readings; starts are about `base` (S,), variances about `prior` (4 + G,),
    gauges' errors usually `usual` (G,).
    """
    rate = np.full(len(family.series), first.rate)
    design, is_told = design_of(family, rate, used), _told(family, used)
    whole = _stacks(family, rate, used, base, design.columns, is_told)
    theta = prior
    if used.sum() > design.is_own.sum():
        own = _stacks(family, rate, used, base, design.columns[:, design.is_own], is_told)
        theta = reml_drawn.components(own, prior, PRIOR_READINGS)
    theta = np.maximum(theta, LEAST_SHARE**2 * prior)
    mean, deviation = _known(family, design, first, usual)
    beta, covariance = reml_drawn.effects(whole, theta, mean, deviation)
    place = {name: at for at, name in enumerate(design.names)}
    least = {"bias": float(usual.mean()), "gain": GAIN_SPREAD, "found": first.span,
             "start": float(usual.mean())}  # fmt: skip
    return Shared(theta, place, beta, covariance, least)


def _known(family: Family, design: Design, first: Rough, usual: Floats) -> tuple[Floats, Floats]:
    """Give what is known of each effect beforehand: about where, give or take how much."""
    is_known = known_groups(family)
    mean, deviation = np.zeros(len(design.names)), np.zeros(len(design.names))
    for at, (name, of) in enumerate(design.names):
        if name == "start":
            deviation[at] = _start_spread(first, usual, bool(is_known[of]), of)
        elif name == "found":
            mean[at], deviation[at] = first.span / 3, first.span
        elif name == "slope":
            mean[at], deviation[at] = first.rate, SLOPE_SPREAD * first.rate
        elif name == "model slope":
            deviation[at] = MODEL_SPREAD * first.rate
        else:
            deviation[at] = usual[of] if name == "bias" else GAIN_SPREAD
    return mean, deviation


def _start_spread(first: Rough, usual: Floats, is_known: bool, group: int) -> float:
    """Give how far off a start may be; one of a model with enough parts to have its own, by far."""
    if is_known:
        return float(usual.mean())
    return first.span if group else UNKNOWN_START * first.rate * first.usual_x


def _told(family: Family, used: Flags) -> Flags:
    """Give which variances (slope, start, found, wander, gauges) the used readings tell of."""
    count = np.bincount(family.series_of[used], minlength=len(family.series))
    new, found = (count > 0) & family.is_new, (count > 1) & ~family.is_new
    gauges = np.bincount(family.gauge[used], minlength=len(family.gauges)) > 0
    return np.concatenate([[True, new.sum() > 1, found.sum() > 1, True], gauges])


def _components(family: Family, rate: Floats, series: Ints, rows: Ints, is_told: Flags) -> Floats:
    """Give the known matrices (q, N, n, n): slope, start, found, wander, then each gauge.

    Those of what no reading tells are nought, which keeps it out of the search.
    """
    x, r = family.x[rows], rate[series][:, None, None]
    count, n = rows.shape
    made = np.zeros((len(is_told), count, n, n))
    made[0] = r**2 * x[:, :, None] * x[:, None, :]
    is_new = family.is_new[series][:, None, None]
    made[1], made[2] = is_new * 1.0, ~is_new * 1.0
    made[3] = r**2 * np.minimum(x[:, :, None], x[:, None, :])
    diagonal = np.arange(n)
    for gauge in range(len(family.gauges)):
        made[4 + gauge][:, diagonal, diagonal] = family.gauge[rows] == gauge
    made[~is_told] = 0.0
    return made


def _stacks(
    family: Family, rate: Floats, used: Flags, base: Floats, columns: Floats, is_told: Flags
) -> list[Stack]:
    return [
        Stack(
            family.y[rows] - base[series][:, None],
            columns[rows],
            _components(family, rate, series, rows, is_told),
        )
        for series, rows in stacks(family.series_of, used)
    ]
