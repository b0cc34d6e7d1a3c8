"""Maximum likelihood for lives known to the point, within bounds, or still running.

lifelines does the fitting. It loses its way on lives of tens of thousands of km, so lives are
scaled to about 1 before and back after.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np

from ledger.analysis.life_bounds import (
    Bounds,
    Column,
    FloatArray,
    TooFewLives,
    checked_bounds,
    share_between,
)
from ledger.analysis.life_models import LifeModel, LognormalLife, WeibullLife
from ledger.analysis.statistics import weighted_quantile

SPREADS = (1e-3, 20.0)
"""Beyond these spreads of the logarithm of life the likelihood has no top inside."""

LOOSEST = 3.0
"""A standard error of location or of the logarithm of spread above this tells nothing: its 95 %
interval reaches 360 times either way."""

Law = TypeVar("Law", bound=LifeModel)


def weibull(
    lower: Column,
    upper: Column,
    *,
    entry: Column | None = None,
    weights: Column | None = None,
    level: float = 0.95,
) -> WeibullLife:
    """Fit Weibull's law to lives in one unit, one row each.

    `lower` equal to `upper` is an end seen, `upper` None or infinite is still in use, `lower` 0
    is an end before the first look; `entry` is the length at which watching began (left
    truncation) and `weights` how many lives a row stands for. Raises `BadLives` for a row that
    cannot be a life and `TooFewLives`, with the reason, where the lives do not settle a law.
    The shape of few lives is too high on average (by a tenth for ten); it is not corrected.
    """
    from lifelines import WeibullFitter  # takes a second to load

    bounds = _enough(checked_bounds(lower, upper, entry=entry, weights=weights), level)
    unit = _typical(bounds)
    fitter = _fitted(WeibullFitter(), [1.0, 1.0], bounds, unit)
    spread = 1 / float(fitter.rho_)
    location = float(np.log(fitter.lambda_) + np.log(unit))
    turn = np.diag([1 / fitter.lambda_, -(spread**2)])
    covariance = turn @ fitter.variance_matrix_.to_numpy() @ turn
    return _settled(
        WeibullLife(location, spread, covariance, *_counts(fitter, bounds, unit), level), bounds
    )


def lognormal(
    lower: Column,
    upper: Column,
    *,
    entry: Column | None = None,
    weights: Column | None = None,
    level: float = 0.95,
) -> LognormalLife:
    """Fit a lognormal law, to compare with Weibull's by `aic`; arguments and errors as there."""
    from lifelines import LogNormalFitter  # takes a second to load

    bounds = _enough(checked_bounds(lower, upper, entry=entry, weights=weights), level)
    unit = _typical(bounds)
    fitter = _fitted(LogNormalFitter(), [0.0, 1.0], bounds, unit)
    place = (float(fitter.mu_ + np.log(unit)), float(fitter.sigma_))
    covariance = fitter.variance_matrix_.to_numpy()
    return _settled(
        LognormalLife(*place, covariance, *_counts(fitter, bounds, unit), level), bounds
    )


def _enough(bounds: Bounds, level: float) -> Bounds:
    """Give the lives that say anything; raise where no law can be told from them."""
    share_between(level, "level")
    told = bounds.kept(bounds.is_over | (bounds.lower > 0))
    over = told.kept(told.is_over)
    if len(np.unique(np.stack([over.lower, over.upper]), axis=1).T) < 2:
        wrong = f"{over.weights.sum():g} of {bounds.weights.sum():g} are over"
        raise _too_few(f"{wrong}, at fewer than two lengths")
    # where one length lies within every life, the likelihood grows as all end there
    if told.lower.max() <= told.upper.min():
        raise _too_few("all may have ended at one length")
    return told


def _too_few(wrong: str) -> TooFewLives:
    return TooFewLives("lives", "upper", wrong, "A law needs two or more that ended apart")


def _typical(bounds: Bounds) -> float:
    """Give the median of the lengths known."""
    ends = np.where(bounds.is_over, (bounds.lower + bounds.upper) / 2, bounds.lower)
    return float(weighted_quantile(ends, bounds.weights, [0.5])[0])


def _fitted(fitter: Any, start: list[float], bounds: Bounds, unit: float) -> Any:
    options = {
        "entry": bounds.entry / unit,
        "weights": bounds.weights,
        "initial_point": np.array(start),
        "fit_options": {"gtol": 1e-10, "ftol": 1e-15},
    }
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            if (bounds.is_over & ~bounds.is_exact).any():
                ends = (bounds.lower / unit, bounds.upper / unit)
                fitter.fit_interval_censoring(*ends, **options)
            else:
                fitter.fit(bounds.lower / unit, bounds.is_exact, **options)
    except Exception as error:  # whatever the library meets, the lives are what it met it in
        raise _too_few(f"the fit did not settle ({type(error).__name__})") from error
    return fitter


def _counts(fitter: Any, bounds: Bounds, unit: float) -> tuple[float, float, float]:
    """Give the log-likelihood of the lives in their own unit, and how many are known and over."""
    exact, over = (bounds.weights[which].sum() for which in (bounds.is_exact, bounds.is_over))
    likelihood = float(fitter.log_likelihood_) - float(exact) * float(np.log(unit))
    return likelihood, float(bounds.weights.sum()), float(over)


def _settled(law: Law, bounds: Bounds) -> Law:
    """Give the law back, or raise where it is not the most likely one or as good as unknown."""
    law = _polished(law, bounds)
    place, width = law.covariance[0, 0], law.covariance[1, 1] / law.spread**2
    is_known = (
        np.isfinite(law.covariance).all() and 0 < place < LOOSEST**2 and 0 < width < LOOSEST**2
    )
    if not is_known or not SPREADS[0] < law.spread < SPREADS[1]:
        raise _too_few("the fit did not settle, quite other laws fit them as well")
    # the library floors a bound of nought and each life's chance at 1e-25, and then stops there
    gap = abs(law.log_likelihood - law.log_likelihood_of(bounds))
    if not gap < 1e-4 * max(law.count_lives, 1.0):
        raise _too_few("the fit did not settle, some are too far from the others")
    return law


def _polished(law: Law, bounds: Bounds) -> Law:
    """Give the law at the top of its own likelihood where the library's is another one.

    It starts from the library's answer; the covariance is that of the curvature at the top.
    """
    from scipy.optimize import minimize  # takes a third of a second to load

    told = law.log_likelihood_of(bounds)
    if not np.isfinite(told) or abs(law.log_likelihood - told) < 1e-6:
        return law

    def loss(at: FloatArray) -> float:
        moved = replace(law, location=float(at[0]), spread=float(np.exp(at[1])))
        found = moved.log_likelihood_of(bounds)
        return -found if np.isfinite(found) else 1e300

    options = {"xatol": 1e-9, "fatol": 1e-11, "maxiter": 2_000}
    begin = np.array([law.location, np.log(law.spread)])
    top = minimize(loss, begin, method="Nelder-Mead", options=options)
    curvature = _curvature(loss, top.x)
    if np.linalg.eigvalsh(curvature).min() <= 0:
        return law
    spread = float(np.exp(top.x[1]))
    turn = np.diag([1.0, spread])
    covariance = turn @ np.linalg.inv(curvature) @ turn
    place = float(top.x[0])
    return replace(
        law, location=place, spread=spread, covariance=covariance, log_likelihood=-float(top.fun)
    )


def _curvature(
    loss: Callable[[FloatArray], float], top: FloatArray, step: float = 1e-3
) -> FloatArray:
    """Give the second derivatives (2, 2) of a function of two by central differences."""
    found = np.empty((2, 2))
    moves = step * np.eye(2)
    for one in range(2):
        for other in range(2):
            corners = (
                sign * turn * loss(top + sign * moves[one] + turn * moves[other])
                for sign in (1, -1)
                for turn in (1, -1)
            )
            found[one, other] = sum(corners) / (4 * step**2)
    return found
