"""Readings foretold from some of their series' other readings: for the backtest and for flags."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import ndtri

from ledger.analysis.wear_data import Family, Flags, Floats, Ints
from ledger.analysis.wear_forecast import Mixture, at, band, state_of
from ledger.analysis.wear_lines import lines
from ledger.analysis.wear_rates import Rates, posterior
from ledger.analysis.wear_scale import Scales


def repeated(
    family: Family, scales: Scales, targets: Ints, given: Flags
) -> tuple[Family, Scales, Ints]:
    """Give a family with one series a target, holding the readings it is foretold from.

    `targets` (T,) are readings; `given` (T, most) says which of the readings of the target's
    series, counted from its first, are given. The last result are the rows (of readings) held.
    """
    size = len(family.series)
    first = np.searchsorted(family.series_of, np.arange(size))
    of = family.series_of[targets]
    which, place = np.nonzero(given)
    rows = first[of[which]] + place
    made = replace(
        family,
        series=[family.series[each] for each in of],
        is_new=family.is_new[of],
        known_start=family.known_start[of],
        limit=family.limit[of],
        factors={name: code[of] for name, code in family.factors.items()},
        bike=family.bike[of],
        series_of=which.astype(np.int64),
        **{name: getattr(family, name)[rows] for name in _OF_READINGS},
    )
    scaled = replace(
        scales,
        rate=scales.rate[of],
        start=scales.start[of],
        start_variance=scales.start_variance[of],
    )
    return made, scaled, rows


_OF_READINGS = ("x", "x_error", "y", "low", "high", "gauge", "row")


def foretell(
    family: Family,
    scales: Scales,
    prior: tuple[Floats, Floats],
    readings: tuple[Floats, Floats],
    targets: Ints,
    given: Flags,
) -> Mixture:
    """Give the target readings as their gauges will show them, as mixtures (T,).

    `prior` is mean and variance (S,) of the series' log rates without their own readings,
    `readings` the true figures and error variances (M,).
    """
    some, scaled, rows = repeated(family, scales, targets, given)
    summed = lines(
        some, scaled, readings[0][rows], readings[1][rows], np.ones(len(rows), dtype=bool)
    )
    of = family.series_of[targets]
    mean, variance = prior[0][of], prior[1][of]
    own = posterior(summed, mean, variance)
    rates = Rates(mean, variance, *own)
    gauge = family.gauge[targets]
    true = at(state_of(scaled, summed, rates), family.x[targets], family.x_error[targets] ** 2)
    for place in np.flatnonzero(summed.x > family.x[targets]):
        held, x = np.flatnonzero(some.series_of == place), family.x[targets[[place]]]
        given_figures = readings[0][rows], readings[1][rows]
        between = band(some, scaled, rates, given_figures, held, int(place), x)
        true.means[place], true.deviations[place] = between.means[0], between.deviations[0]
    larger = 1 + scales.gain[gauge][:, None]
    start = scaled.start[:, None]
    means = start + (true.means - start) * larger + scales.bias[gauge][:, None]
    noise = scales.error[gauge][:, None]
    deviations = np.sqrt((true.deviations * larger) ** 2 + noise**2)
    return Mixture(means, deviations, true.weights)


def quantile_shown(
    seen: Mixture, family: Family, scales: Scales, targets: Ints, share: float
) -> Floats:
    """Give a quantile (T,) of what the gauges will show; a worn-out part shows its last figure."""
    gauge = family.gauge[targets]
    last = scales.worn_out + scales.bias[gauge] + ndtri(share) * scales.error[gauge]
    return np.asarray(np.minimum(seen.quantile(share), last))
