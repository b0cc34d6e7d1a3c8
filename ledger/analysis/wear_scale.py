"""What a family's readings share: where parts start, how gauges err, how a line wanders.

A mixed model of straight lines over at most MOST_SERIES series, chosen evenly (`wear_shared`).
What is usual counts as a few readings, and known starts and gauges are off by so much and no
more: what the readings cannot tell apart stays as is usual, with its uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ledger.analysis.wear_data import Family, Flags, Floats, Ints
from ledger.analysis.wear_design import groups, known_groups, model_groups, start_groups
from ledger.analysis.wear_rough import Rough, spread_out
from ledger.analysis.wear_shared import GAIN_SPREAD, UNKNOWN_START, Shared, fit_shared

MOST_SERIES = 500
FEWEST_SERIES = 12
"""Late readings are set aside where this many series are left with two."""
SURE = 0.5
"""Gauges are measured on readings whose exposure errs by less than this share of their error."""
EARLY = 2.0
"""How much faster than is usual next to no part wears."""

FOUND_SPREAD = 2.0
"""How much wider than the readings say found parts are taken to differ: some ran very long."""
FEWEST_WORN = 10
USUAL_ERROR = 0.04
"""Standard error of a gauge nobody knows, as a share of the way from new to the limit."""
USUAL_WANDER = 0.15
"""Standard deviation of a part's wear about its own line over a usual distance, as a share."""


@dataclass(frozen=True, slots=True)
class Scales:
    """What the readings of a family share. Arrays over series (S,) or gauges (G,)."""

    rate: Floats
    """(S,) typical slope, by kind of riding."""
    start: Floats
    """(S,) where a line starts: new, or as such a part is when first seen."""
    start_variance: Floats
    wander: float
    """Variance of a line's wandering per unit of exposure, in squares of the rate."""
    bias: Floats
    """(G,) what a gauge adds."""
    bias_error: Floats
    gain: Floats
    """(G,) by what share a gauge shows wear too large: one that reads roller wear too."""
    gain_error: Floats
    error: Floats
    """(G,) standard deviation of one reading."""
    count: Ints
    """(G,) readings the figures come from."""
    span: float
    """The usual way from new to the limit."""
    level_error: float = 0.0
    """How far all gauges together may show too much or too little, one standard deviation."""
    worn_out: float = np.inf
    """The figure past the limit that nothing wears beyond; infinite where none shows."""
    start_error: Floats = field(default_factory=lambda: np.zeros(1))
    """(K,) how far the starts of a group (`start_groups`) and all gauges may be off together."""

    def true_figures(self, family: Family, shown: Floats) -> Floats:
        """Give what the gauges' figures (M,) mean once bias and gain are taken away."""
        start = self.start[family.series_of]
        gauge = family.gauge
        return start + (shown - start - self.bias[gauge]) / (1 + self.gain[gauge])

    def level_variances(self, gauges: Ints) -> Floats:
        """Give the variance of a true figure that is owed to what `gauges` may all be off by."""
        found: Floats = self.level_error**2 + self.bias_error[gauges] ** 2
        return found

    def variances(self, family: Family) -> Floats:
        """Give the error variance (M,) of each reading, that of its exposure included."""
        gauge = family.gauge
        error = self.error[gauge] / (1 + self.gain[gauge])
        return error**2 + (self.rate[family.series_of] * family.x_error) ** 2


def worn_out(family: Family, known: Flags, usual_error: float) -> float:
    """Give the figure beyond which nothing wears: metal on metal, or too worn to turn.

    It shows as a heap: at least FEWEST_WORN readings past the limit, and among the highest of
    them half as many again as in a band as wide just below. Infinite where there is no heap.
    """
    past = family.y[known & ~family.is_interval & (family.y > family.limit[family.series_of])]
    if len(past) < FEWEST_WORN:
        return np.inf
    highest, width = float(np.quantile(past, 0.98)), 6 * usual_error
    heap = past[past > highest - width]
    count_below = int(((past > highest - 2 * width) & (past <= highest - width)).sum())
    is_heap = len(heap) >= max(FEWEST_WORN, 1.5 * count_below)
    return float(np.median(heap)) if is_heap else np.inf


def usual_errors(family: Family, span: float) -> Floats:
    """Give what each gauge (G,) usually errs by: as registered, else a share of the span.

    A registered error of more than the span, or of next to nothing, is a slip of the pen.
    """
    found = np.where(np.isnan(family.gauge_error), USUAL_ERROR * span, family.gauge_error)
    return np.asarray(np.clip(found, 1e-3 * span, span))


def _uncut(family: Family, is_used: Flags, first: Rough, most: float) -> Flags:
    """Keep readings so early that next to no part can be worn out by then, where enough are.

    Later the fastest are missing, and what is left makes lines too flat and starts too worn.
    """
    early = is_used & (first.rate * EARLY * family.x < most - first.start)
    counts = np.bincount(family.series_of[early], minlength=len(family.series))
    return early if int((counts >= 2).sum()) >= FEWEST_SERIES else is_used


def _chosen(family: Family, is_used: Flags) -> Flags:
    """Give which readings inform the variances: those of at most MOST_SERIES series."""
    counts = np.bincount(family.series_of[is_used], minlength=len(family.series))
    twice = np.flatnonzero(counts >= 2)
    once = np.flatnonzero((counts == 1) & family.is_new)
    twice = twice[spread_out(len(twice), 2 * MOST_SERIES // 3)] if len(twice) else twice
    once = once[spread_out(len(once), MOST_SERIES - len(twice))] if len(once) else once
    is_chosen = np.zeros(len(family.series), dtype=bool)
    is_chosen[twice] = True
    is_chosen[once] = True
    return is_used & is_chosen[family.series_of]


def scales(family: Family, is_used: Flags, first: Rough, most: float = np.inf) -> Scales:
    """Fit what a family's valued readings share, where nothing wears beyond `most`."""
    usual = usual_errors(family, first.span)
    is_sure = first.rate * family.x_error < SURE * usual[family.gauge]
    used = _chosen(family, _uncut(family, is_used & ~family.is_interval & is_sure, first, most))
    base = np.where(np.isnan(family.known_start), first.start, family.known_start)
    base = np.where(family.is_new, base, first.start)
    prior = _prior_variances(family, first, usual)
    if not used.any():
        return _as_usual(family, first, base, prior, usual, used)
    shared = fit_shared(family, used, first, base, prior, usual)
    return _made(family, first, base, shared, used)


def _prior_variances(family: Family, first: Rough, usual: Floats) -> Floats:
    """Give the usual variances of slope, start, found, wander and each gauge's error.

    Where nobody knows what parts measure when new, how alike they are is not known either: half
    of what is open may be each part's own.
    """
    wander = USUAL_WANDER**2 * first.usual_x
    is_unknown = np.isnan(family.known_start[family.is_new])
    share = float(is_unknown.mean()) if len(is_unknown) else 0.0
    unknown = share * (UNKNOWN_START * first.rate * first.usual_x) ** 2 / 2
    start = float(np.mean(usual)) ** 2 + unknown
    return np.concatenate([[0.1, start, (first.span / 3) ** 2, wander], usual**2])


def _as_usual(
    family: Family, first: Rough, base: Floats, prior: Floats, usual: Floats, used: Flags
) -> Scales:
    nothing = np.zeros(len(family.gauges))
    return Scales(
        rate=np.full(len(family.series), first.rate),
        start=np.where(family.is_new, base, first.start + first.span / 3),
        start_variance=np.where(family.is_new, prior[1], prior[2]),
        wander=float(prior[3]),
        bias=nothing,
        bias_error=usual,
        gain=nothing,
        gain_error=np.full(len(usual), GAIN_SPREAD),
        error=usual,
        count=np.bincount(family.gauge[used], minlength=len(family.gauges)),
        span=first.span,
        start_error=np.full(int(start_groups(family).max(initial=0)) + 1, float(np.mean(usual))),
    )


def _starts(shared: Shared, is_known: Flags, unsure: Floats) -> tuple[Floats, Floats]:
    """Give how each group's start lies off, and its error, drawn to their mean as far as they
    differ by no more than their errors (James-Stein, the spread by moments).

    Those known beforehand are as they are; `unsure` (K,) are the errors.
    """
    names = [("start", group) for group in range(len(is_known))]
    off = np.array([shared.value(name) for name in names])
    has = ~is_known
    if has.sum() < 2:
        return off, unsure
    between = max(float(np.var(off[has], ddof=1) - np.mean(unsure[has] ** 2)), 0.0)
    weight = 1 / (between + unsure[has] ** 2)
    mean, open_mean = float(weight @ off[has] / weight.sum()), 1 / weight.sum()
    kept = between / np.maximum(between + unsure**2, 1e-300)
    drawn = mean + kept * (off - mean)
    error = np.sqrt(kept * unsure**2 + (1 - kept) ** 2 * open_mean)
    return np.where(has, drawn, off), np.where(has, error, unsure)


def _made(family: Family, first: Rough, base: Floats, shared: Shared, used: Flags) -> Scales:
    size = len(family.gauges)
    count = np.bincount(family.gauge[used], minlength=size)
    biases = [("bias", gauge) for gauge in range(size)]
    gains = [("gain", gauge) for gauge in range(size)]
    level = {name: float(share) for name, share in zip(biases, count / count.sum(), strict=True)}
    start, is_known = start_groups(family), known_groups(family)
    of_group = np.array(
        [shared.error({("start", group): 1.0} | level) for group in range(len(is_known))]
    )
    offset, unsure = _starts(shared, is_known, of_group)
    theta, found = shared.theta, ("found", 0)
    start_variance = np.where(
        family.is_new,
        theta[1] + unsure[start] ** 2,
        FOUND_SPREAD**2 * theta[2] + shared.error({found: 1.0} | level) ** 2,
    )
    return Scales(
        rate=_rates(family, first, shared),
        start=base + np.where(family.is_new, offset[start], shared.value(found)),
        start_variance=start_variance,
        wander=float(theta[3]),
        bias=np.array([shared.value(name) for name in biases]),
        bias_error=np.array([shared.error(_less({name: 1.0}, level)) for name in biases]),
        gain=np.array([shared.value(name) for name in gains]),
        gain_error=np.array([shared.error({name: 1.0}) for name in gains]),
        error=np.sqrt(theta[4:]),
        count=count,
        span=first.span,
        start_error=unsure,
        level_error=shared.error(level),
    )


Names = dict[tuple[str, int], float]


def _less(one: Names, other: Names) -> Names:
    return {name: one.get(name, 0.0) - other.get(name, 0.0) for name in one | other}


def _rates(family: Family, first: Rough, shared: Shared) -> Floats:
    slope = groups(
        family.factors["riding"], len(family.levels["riding"]), np.ones_like(family.is_new)
    )
    rate = np.array([shared.value(("slope", group)) for group in slope])
    rate = rate + np.array([shared.value(("model slope", group)) for group in model_groups(family)])
    return np.where(rate > 0.1 * first.rate, rate, first.rate)
