"""How often and how far chains run past their limit: shares a rider, shrunk; km beyond the limit.

Shares follow the beta-binomial model: each rider's own share of chains past the limit is drawn
from a beta distribution that all riders of the shop have in common, fitted by its marginal
likelihood (parametric empirical Bayes, as in Efron & Morris, JASA 70, 1975, for normal means).
What a share is of, "chains past the limit when seen", is for the caller to say.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize
from scipy.special import betaln, expit, logit
from scipy.stats import beta as beta_distribution
from scipy.stats import norm

from ledger.analysis.unfit import CannotFit, refuse_share

Floats = NDArray[np.float64]
_BOUNDS = ((-9.0, 9.0), (-3.0, 14.0))
"""Of the logit of the typical share and the log of the weight."""


@dataclass(frozen=True, slots=True)
class SharePrior:
    """What is held of a shop before its riders are seen: it decides for few riders, not for many.

    The shop's typical share is Beta(`mean_weight`, `mean_weight`). The log of the weight, in
    chains, that the shop's share has against a rider's own is normal about that of `weight`.
    """

    mean_weight: float = 1.5
    weight: float = 4.0
    log_weight_sd: float = 1.0


WEAK_PRIOR = SharePrior()
"""The shop's share weighs about four chains, anywhere from one to fifteen."""


@dataclass(frozen=True, slots=True)
class Shares:
    """Each rider's share of chains past the limit; arrays have one entry a rider, as given."""

    past: Floats
    seen: Floats
    share: Floats
    """Shrunk: the mean of what the rider's own share may be."""
    low: Floats
    high: Floats
    shop_share: float
    """The typical rider's share: the mean of the fitted beta distribution."""
    shop_low: float
    shop_high: float
    weight: float
    """How many chains the shop's share weighs against a rider's own."""

    @property
    def alpha(self) -> float:
        """First parameter of the fitted beta distribution."""
        return self.shop_share * self.weight

    @property
    def beta(self) -> float:
        """Second parameter of the fitted beta distribution."""
        return (1 - self.shop_share) * self.weight

    def ranking(self) -> NDArray[np.intp]:
        """Give places from the surest late rider down: by the low end, then by the share.

        By the low end, so that one bad chain of one does not stand above five of six.
        """
        return np.lexsort((-self.share, -self.low))


def overrun_shares(
    past: ArrayLike, seen: ArrayLike, level: float = 0.8, prior: SharePrior | None = WEAK_PRIOR
) -> Shares:
    """Give each rider's share of chains past the limit, shrunk towards the shop's.

    `past` of `seen` chains, one count a rider; a rider of whom none was seen has the shop's
    share. Without a prior, plain marginal maximum likelihood. Intervals hold `level` of the
    posterior given the fitted distribution; the shop's is from the curvature at its mode.
    Raises CannotFit where counts are not such, nobody saw a chain, or the level is no share.
    """
    refuse_share("interval", "level", level)
    hits, tries = _counts(past, seen)
    center, log_weight, sd = _fit(hits, tries, prior)
    mean, weight, reach = float(expit(center)), float(np.exp(log_weight)), _reach(level) * sd
    alpha, beta = mean * weight + hits, (1 - mean) * weight + tries - hits
    low, high = (_quantile(q, alpha, beta) for q in _tails(level))
    ends = float(expit(center - reach)), float(expit(center + reach))
    return Shares(hits, tries, alpha / (alpha + beta), low, high, mean, *ends, weight)


def _quantile(share: float, alpha: Floats, beta: Floats) -> Floats:
    """Give quantiles of beta distributions; those of like counts are worked out once."""
    pairs, place = np.unique(np.column_stack([alpha, beta]), axis=0, return_inverse=True)
    found: Floats = beta_distribution.ppf(share, pairs[:, 0], pairs[:, 1])[place]
    return found


def _reach(level: float) -> float:
    return float(norm.ppf(0.5 + level / 2))


def _tails(level: float) -> tuple[float, float]:
    return (1 - level) / 2, (1 + level) / 2


def _counts(past: ArrayLike, seen: ArrayLike) -> tuple[Floats, Floats]:
    hits, tries = np.asarray(past, dtype=float), np.asarray(seen, dtype=float)
    right = "Give one count of each a rider, with past between 0 and seen"
    if hits.shape != tries.shape or hits.ndim != 1:
        raise CannotFit("riders", "past", f"is {hits.shape} beside seen {tries.shape}", right)
    wrong = np.flatnonzero(~((hits >= 0) & (hits <= tries) & np.isfinite(tries)))
    if len(wrong):
        row = int(wrong[0])
        raise CannotFit(f"rider {row}", "past", f"is {hits[row]:g} of {tries[row]:g}", right)
    if not tries.sum():
        raise CannotFit("riders", "seen", "is 0 for everybody", "Give a chain that was seen")
    return hits, tries


def _fit(hits: Floats, tries: Floats, prior: SharePrior | None) -> tuple[float, float, float]:
    """Give the mode of (logit of the mean, log of the weight), and the first one's sd."""
    pairs, count = np.unique(np.column_stack([hits, tries]), axis=0, return_counts=True)

    def loss(point: Floats) -> float:
        return _loss(point, pairs[:, 0], pairs[:, 1], count, prior)

    pooled = (hits.sum() + 0.5) / (tries.sum() + 1)
    starts = [np.array([logit(pooled), weight]) for weight in (0.5, 2.5, 6.0)]
    found = [minimize(loss, start, bounds=_BOUNDS, method="L-BFGS-B") for start in starts]
    best = min(found, key=lambda one: float(one.fun)).x
    return float(best[0]), float(best[1]), _sd_of_first(loss, best)


def _loss(
    point: Floats, hits: Floats, tries: Floats, count: NDArray[np.intp], prior: SharePrior | None
) -> float:
    """Give the negative log of the marginal likelihood, and of the prior where there is one."""
    mean, weight = float(expit(point[0])), float(np.exp(point[1]))
    alpha, beta = mean * weight, (1 - mean) * weight
    terms = betaln(alpha + hits, beta + tries - hits) - betaln(alpha, beta)
    loss = -float(np.sum(count * terms))
    if prior is not None:
        loss -= prior.mean_weight * float(np.log(mean) + np.log1p(-mean))
        loss += 0.5 * ((point[1] - np.log(prior.weight)) / prior.log_weight_sd) ** 2
    return loss


def _sd_of_first(loss: Callable[[Floats], float], mode: Floats) -> float:
    """Give the sd of the first coordinate from the curvature in both."""
    steps = 0.01 * np.eye(2)

    def second(one: Floats, two: Floats) -> float:
        ends = loss(mode + one + two) - loss(mode + one - two)
        return (ends - loss(mode - one + two) + loss(mode - one - two)) / 4e-4

    hessian = np.array([[second(one, two) for two in steps] for one in steps])
    return float(np.sqrt(max(np.linalg.pinv(hessian)[0, 0], 0.0)))
