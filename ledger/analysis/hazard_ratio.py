"""How many times as often something befalls one arm as the other, with its interval."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import expit
from scipy.stats import chi2

from ledger.analysis.funnel_columns import Coded, followed
from ledger.analysis.life_bounds import BoolArray, Column, FloatArray, share_between
from ledger.analysis.log_rank import columns_of

_FAR = 40.0
"""No logarithm of a ratio is looked for beyond this."""


@dataclass(frozen=True, slots=True)
class HazardRatio:
    """The hazard of the arm marked over that of the other, with both ends of its interval.

    0 where the arm had no event at all, infinite where only it had any.
    """

    value: float
    low: float
    high: float


def hazard_ratio(
    time: Column,
    is_event: Column,
    is_marked: Column,
    *,
    stratum: Column | Coded | None = None,
    level: float = 0.95,
) -> HazardRatio | None:
    """Give the ratio that Cox's partial likelihood is greatest at, within strata.

    None where no event came while both arms were at risk. Columns as of `log_rank`, which tests
    the same likelihood at a ratio of 1. Several events at one time are taken as one after the
    other. The interval holds what the likelihood ratio does not refuse, so it is right where one
    arm had no event. Source: Cox, J. R. Stat. Soc. B 34 (1972); ties by Breslow, Biometrics 30
    (1974). Raises `BadLives` naming bad rows or a bad level, `TooFewLives` for no rows.
    """
    share_between(level, "level")
    length, came, arm, strata = columns_of(time, is_event, is_marked, stratum)
    of = _Likelihood.of(length, came, arm, strata)
    if not of.drawn:
        return None
    top = of.greatest()
    short = of.at(top) - chi2.ppf(level, 1) / 2
    low = top if top == -np.inf else _root(lambda beta: of.at(beta) - short, high=min(top, _FAR))
    high = top if top == np.inf else _root(lambda beta: of.at(beta) - short, low=max(top, -_FAR))
    return HazardRatio(*(float(np.exp(each)) for each in (top, low, high)))


@dataclass(frozen=True, slots=True)
class _Likelihood:
    """The times of events at which both arms were at risk."""

    events: FloatArray
    log_odds: FloatArray
    """Of one at risk being of the arm marked."""
    marked: int
    """How many of the events were in it."""

    @classmethod
    def of(cls, length: FloatArray, came: BoolArray, arm: BoolArray, strata: Coded) -> _Likelihood:
        arms = Coded((False, True), arm.astype(np.int64))
        cells = followed(arms, strata, length, came).cells
        others, marked = cells.of_unit.T
        is_both, is_alone = (others > 0) & (marked > 0), others == 0
        alone = int(cells.events[is_alone].sum())
        odds = np.log(marked[is_both] / others[is_both])
        events = cells.events[is_both].astype(np.float64)
        return cls(events, odds, int(np.count_nonzero(came & arm)) - alone)

    @property
    def drawn(self) -> int:
        return int(self.events.sum())

    def at(self, log_ratio: float) -> float:
        """Give the logarithm of the likelihood, but for what no ratio changes."""
        if np.isinf(log_ratio):
            return 0.0 if log_ratio < 0 else float(self.events @ -self.log_odds)
        grown = np.logaddexp(0.0, self.log_odds + log_ratio)
        return float(self.marked * log_ratio - self.events @ grown)

    def greatest(self) -> float:
        """Give where it is greatest."""
        if self.marked in (0, self.drawn):
            return np.inf if self.marked else -np.inf
        return _root(lambda beta: self.marked - self.events @ expit(self.log_odds + beta))


def _root(of: Callable[[float], float], low: float = -_FAR, high: float = _FAR) -> float:
    return float(brentq(of, low, high, xtol=1e-10))
