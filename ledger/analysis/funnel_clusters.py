"""How much wider counts spread where one bike's repairs go to one mechanic, and fare alike."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array

from ledger.analysis.funnel_chances import CountArray
from ledger.analysis.funnel_columns import Coded, Followed
from ledger.analysis.life_bounds import BoolArray, FloatArray


def inflation_of(
    unit: Coded, stratum: Coded, cluster: Coded, seen: Followed, is_event: BoolArray
) -> float:
    """Give how many times wider the variance is than were all repairs independent; never below 1.

    A repair's residual is its event less its cumulative hazard, its score for a unit that times
    (whether it is the unit's, less the unit's share of the stratum). The figure is the sum of
    squares of the clusters' scores over that of the repairs', all units together: the robust over
    the plain variance of Lee, Wei and Amato, Survival Analysis: State of the Art (1992).
    """
    residual = _residuals(seen, is_event)
    share = _shares(unit, stratum)
    plain = _squares_of_each(unit, stratum, share, residual)
    if not plain > 0:
        return 1.0
    place = (cluster.code, unit.code)
    shape = (len(cluster.names), len(unit.names))
    own = csr_array((residual, place), shape=shape).toarray()
    of_stratum = csr_array(
        (residual, (cluster.code, stratum.code)), shape=(shape[0], len(stratum.names))
    )
    robust = float(np.square(own - of_stratum @ share).sum())
    fewer = _of_few(len(cluster.names), len(unit.names)) / _of_few(len(residual), len(unit.names))
    return max(1.0, robust / plain * fewer)


def _of_few(count: int, count_units: int) -> float:
    """Give how far squares about as many means as there are units fall short, of so many."""
    return count / max(count - count_units, 1)


def _residuals(seen: Followed, is_event: BoolArray) -> FloatArray:
    hazard = np.append(0.0, np.cumsum(seen.cells.events / seen.cells.at_risk))
    return np.asarray(is_event - (hazard[seen.after] - hazard[seen.first]))


def _shares(unit: Coded, stratum: Coded) -> FloatArray:
    shape = (len(stratum.names), len(unit.names))
    place = stratum.code * shape[1] + unit.code
    counts: CountArray = np.bincount(place, minlength=shape[0] * shape[1]).reshape(shape)
    return np.asarray(counts / np.maximum(counts.sum(axis=1, keepdims=True), 1))


def _squares_of_each(unit: Coded, stratum: Coded, share: FloatArray, residual: FloatArray) -> float:
    spread = 1 + np.square(share).sum(axis=1)[stratum.code] - 2 * share[stratum.code, unit.code]
    return float(np.sum(np.square(residual) * spread))
