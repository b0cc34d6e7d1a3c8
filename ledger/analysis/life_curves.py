"""The share of lives still good, without assuming a shape of it: Kaplan–Meier and Turnbull."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv

from ledger.analysis.life_bounds import (
    BoolArray,
    Bounds,
    Column,
    FloatArray,
    TooFewLives,
    checked_bounds,
    figures,
    refuse,
    refuse_draws,
    same_length,
    share_between,
)
from ledger.analysis.turnbull import innermost, most_likely_shares

GREENWOOD = "Greenwood, complementary log-log"
BOOTSTRAP = "bootstrap percentiles"


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A falling step: the share of lives still good from each of `times` on. No figure is NaN."""

    times: FloatArray
    """0, then every length at which the share falls; shape (n,), all other columns alike."""
    starts: FloatArray
    """The fall at `times` happened after this and by then; equal to `times` where it was seen."""
    survival: FloatArray
    lower: FloatArray
    """Pointwise band; where the lives are too alike for one, the exact binomial limits of those
    at risk (`widened`), and as wide as it may be where nothing is known."""
    upper: FloatArray
    at_risk: FloatArray
    """Lives that may still have been running just before each time."""
    level: float
    band: str
    """How the band was worked out."""

    def at(self, when: Column) -> FloatArray:
        """Give the share still good at each of the lengths given."""
        place = np.searchsorted(self.times, figures(when, "when"), side="right") - 1
        return np.where(place < 0, 1.0, self.survival[np.maximum(place, 0)])

    def median(self) -> float | None:
        """Give the first length by which half the lives are over; None where fewer are."""
        is_over = self.survival <= 0.5 + 1e-12
        return float(self.times[np.argmax(is_over)]) if is_over.any() else None


def kaplan_meier(
    duration: Column, is_observed: Column, *, entry: Column | None = None, level: float = 0.95
) -> Curve:
    """Give the product-limit curve of lives whose ends were seen or that are still in use.

    `duration` and `entry` are in one unit; `entry` is the length at which watching began (left
    truncation). A life that ends as another is last seen ended first. The band is Greenwood's on
    the log(-log) scale, and never of width nought: see `widened`. Raises `BadLives` for rows that
    cannot be lives, `TooFewLives` for none.
    Source: Kaplan and Meier, J. Am. Stat. Assoc. 53 (1958), as lifelines works it out.
    """
    length, is_over = figures(duration, "duration"), figures(is_observed, "is_observed") != 0
    begin = np.zeros(len(length)) if entry is None else figures(entry, "entry", missing=0.0)
    same_length(length, {"is_observed": is_over.astype(float), "entry": begin})
    _refuse_durations(length, is_over, begin)
    if not len(length):
        raise TooFewLives("lives", "duration", "there are none", "A curve needs one")
    share_between(level, "level")
    return _product_limit(length, is_over, begin if begin.any() else None, level)


def _refuse_durations(length: FloatArray, is_over: BoolArray, begin: FloatArray) -> None:
    is_length = (length >= 0) & np.isfinite(length)
    refuse(~is_length, "duration", "it is no length", "Give 0 or a length")
    refuse(is_over & (length == 0), "duration", "a life cannot be over at 0", "Give a length")
    is_entry = (begin == 0) | ((begin > 0) & (begin < length))
    refuse(~is_entry, "entry", "it is not before the end", "Give the length at the first look")


def _product_limit(
    length: FloatArray, is_over: BoolArray, begin: FloatArray | None, level: float
) -> Curve:
    from lifelines import KaplanMeierFitter  # takes a second to load

    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")
        fitter = KaplanMeierFitter(alpha=1 - level).fit(length, is_over, entry=begin)
    table = fitter.event_table
    ends = table.index[table["observed"] > 0]
    band = fitter.confidence_interval_.loc[ends].to_numpy().T
    times, at_risk = ends.to_numpy(float), table["at_risk"].loc[ends].to_numpy(float)
    survival = fitter.survival_function_.iloc[:, 0].loc[ends].to_numpy(float)
    first = float(len(length)) if begin is None else float((begin == 0).sum())
    return _curve(times, times, survival, band, np.append(first, at_risk), level, GREENWOOD)


def _curve(
    times: FloatArray,
    starts: FloatArray,
    survival: FloatArray,
    band: FloatArray,
    at_risk: FloatArray,
    level: float,
    how: str,
) -> Curve:
    """Put time 0 in front and close what the band leaves open: below to 0, above to the last."""
    begin = (np.append(0.0, times), np.append(0.0, starts), np.append(1.0, survival))
    lower = np.append(1.0, np.clip(np.nan_to_num(band[0], nan=0.0), 0, 1))
    upper = np.append(1.0, np.clip(np.nan_to_num(band[1], nan=1.0), 0, 1))
    return Curve(*begin, *widened(begin[2], lower, upper, at_risk, level), at_risk, level, how)


def widened(
    survival: FloatArray, lower: FloatArray, upper: FloatArray, at_risk: FloatArray, level: float
) -> tuple[FloatArray, FloatArray]:
    """Give a falling band that is nowhere of width nought; all columns from time 0 on.

    Greenwood's variance is nought where all lives are over or none is, and lives that are all
    alike have no other bootstrap sample. There the limits are the exact binomial ones (Clopper
    and Pearson, Biometrika 26, 1934) of the lives at risk just before: before the first fall,
    those at risk of it; where no life was seen to be over, as if one was watched to the end.
    """
    lives = np.maximum(np.append(at_risk[1:2] if len(at_risk) > 1 else 1.0, at_risk[1:]), 1.0)
    good = np.clip(survival, 0, 1) * lives
    tail = (1 - level) / 2
    low = np.where(good <= 0, 0.0, betaincinv(np.maximum(good, 1e-9), lives - good + 1, tail))
    over = np.maximum(lives - good, 1e-9)
    high = np.where(good >= lives, 1.0, betaincinv(good + 1, over, 1 - tail))
    is_flat = upper - lower <= 1e-9
    wide_low, wide_high = np.where(is_flat, low, lower), np.where(is_flat, high, upper)
    return np.minimum.accumulate(wide_low), np.minimum.accumulate(wide_high)


def interval_curve(
    lower: Column,
    upper: Column,
    *,
    weights: Column | None = None,
    level: float = 0.95,
    resamples: int = 200,
    seed: int = 0,
) -> Curve:
    """Give the non-parametric maximum-likelihood curve of lives known within (lower, upper].

    Upper None or infinite is still in use, equal to lower is an end seen. Within `starts` to
    `times` the data do not say when the share falls; the curve lets it fall at the end. The band
    is percentiles of `resamples` bootstrap samples of whole lives, seeded: pointwise and rough
    where lives are few, and never of width nought: see `widened`. Raises `BadLives` and
    `TooFewLives` as `kaplan_meier` does.
    Source: Turnbull, J. R. Stat. Soc. B 38 (1976); gap of the likelihood below 1e-6 a life.
    """
    bounds = checked_bounds(lower, upper, weights=weights)
    if not len(bounds.lower):
        raise TooFewLives("lives", "lower", "there are none", "A curve needs one")
    share_between(level, "level")
    refuse_draws(resamples, seed)
    among = innermost(bounds.lower, bounds.upper)
    share = most_likely_shares(among, bounds.weights[None, :])[0]
    drawn = _resampled(bounds.weights, resamples, np.random.default_rng(seed))
    shares = most_likely_shares(among, drawn, tolerance=1e-3, most=200)
    tails = ((1 - level) / 2, (1 + level) / 2)
    band = np.quantile(1 - np.cumsum(shares, axis=1), tails, axis=0)
    is_shown = np.isfinite(among.ends) & (share > 1e-9)
    survival = np.clip(1 - np.cumsum(share), 0, 1)[is_shown]
    at_risk = _may_run(bounds, np.append(0.0, among.ends[is_shown]))
    shown = (among.ends[is_shown], among.starts[is_shown], survival, band[:, is_shown])
    return _curve(*shown, at_risk, level, BOOTSTRAP)


def _resampled(weights: FloatArray, resamples: int, random: np.random.Generator) -> FloatArray:
    """Draw as many lives as there are, again and again: counts a row, shape (resamples, n)."""
    count = max(round(float(weights.sum())), 1)
    return random.multinomial(count, weights / weights.sum(), size=resamples).astype(np.float64)


def _may_run(bounds: Bounds, times: FloatArray) -> FloatArray:
    last = np.where(bounds.is_over, bounds.upper, bounds.lower)
    counts: FloatArray = (last[None, :] >= times[:, None]) @ bounds.weights
    return counts
