"""Maximum likelihood for lives known to the point, within bounds, or still running.

lifelines does the fitting. It loses its way on lives of tens of thousands of km, so lives are
scaled to about 1 before and back after.
"""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np

from ledger.analysis.life_bounds import (
    Bounds,
    Column,
    FloatArray,
    TooFewLives,
    checked_bounds,
    share_between,
)
from ledger.analysis.life_models import LognormalLife, WeibullLife

SPREADS = (1e-3, 20.0)
"""Beyond these spreads of the logarithm of life the likelihood has no top inside."""


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
    scale = _typical(bounds)
    fitter = _fitted(WeibullFitter(), bounds, scale)
    spread = 1 / fitter.rho_
    turn = np.diag([1 / fitter.lambda_, -(spread**2)])
    return WeibullLife(
        float(np.log(fitter.lambda_) + np.log(scale)),
        float(spread),
        *_rest(fitter, turn, bounds, scale),
        level,
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
    scale = _typical(bounds)
    fitter = _fitted(LogNormalFitter(), bounds, scale)
    return LognormalLife(
        float(fitter.mu_ + np.log(scale)),
        float(fitter.sigma_),
        *_rest(fitter, np.eye(2), bounds, scale),
        level,
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
    """Give the geometric mean of the lengths known."""
    ends = np.where(bounds.is_over, (bounds.lower + bounds.upper) / 2, bounds.lower)
    return float(np.exp(np.average(np.log(ends), weights=bounds.weights)))


def _fitted(fitter: Any, bounds: Bounds, scale: float) -> Any:
    options = {
        "entry": bounds.entry / scale,
        "weights": bounds.weights,
        "initial_point": np.array([1.0 if "lambda_" in _names(fitter) else 0.0, 1.0]),
        "fit_options": {"gtol": 1e-10, "ftol": 1e-15},
    }
    is_bounded = bounds.is_over & ~bounds.is_exact
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            if is_bounded.any():
                ends = (bounds.lower / scale, bounds.upper / scale)
                fitter.fit_interval_censoring(*ends, **options)
            else:
                fitter.fit(bounds.lower / scale, bounds.is_exact, **options)
    except Exception as error:  # whatever the library meets, the lives are what it met it in
        raise _too_few(f"the fit did not settle ({type(error).__name__})") from error
    return fitter


def _names(fitter: Any) -> list[str]:
    return list(fitter._fitted_parameter_names)


def _rest(
    fitter: Any, turn: FloatArray, bounds: Bounds, scale: float
) -> tuple[FloatArray, float, float, float]:
    """Give the covariance of location and spread, the log-likelihood and the counts."""
    covariance = turn @ fitter.variance_matrix_.to_numpy() @ turn.T
    spread = 1 / fitter.rho_ if "rho_" in _names(fitter) else fitter.sigma_
    is_settled = np.isfinite(covariance).all() and (np.linalg.eigvalsh(covariance) > 0).all()
    if not is_settled or not SPREADS[0] < spread < SPREADS[1]:
        raise _too_few("the fit did not settle, many laws fit them as well")
    exact = float(bounds.weights[bounds.is_exact].sum())
    likelihood = float(fitter.log_likelihood_) - exact * float(np.log(scale))
    over = float(bounds.weights[bounds.is_over].sum())
    return covariance, likelihood, float(bounds.weights.sum()), over
