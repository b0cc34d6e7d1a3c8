"""What a family's readings share: where parts start, how gauges err, how a line wanders.

A restricted maximum likelihood fit of straight lines (`reml`) over at most MOST_SERIES series,
chosen evenly. Its variances are drawn towards what is usual by a few readings' worth
(PRIOR_READINGS), so that a shop with ten bikes gets wide bands and not nonsense.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ledger.analysis import reml
from ledger.analysis.wear_data import Family, Flags, Floats, Ints, stacks
from ledger.analysis.wear_design import Design, design_of, groups, start_groups
from ledger.analysis.wear_rough import Rough, spread_out

MOST_SERIES = 500
PRIOR_READINGS = 4.0
EDGE_READINGS = 10.0
FEWEST_SERIES = 12
"""Fewer series that inform a variance than this leave it as is usual."""
SURE = 0.5
"""Gauges are measured on readings whose exposure errs by less than this share of their error."""
FEW = 60
"""With fewer readings than this the likelihood may well have two tops: both are tried."""
EARLY = 2.0
"""How much faster than is usual next to no part wears."""
LEAST_SHARE = 0.4
"""No standard error is taken as less than this share of the usual one."""
FOUND_SPREAD = 2.0
"""How much wider than the readings say found parts are taken to differ: some ran very long."""
FEWEST_WORN = 10
GAIN_SPREAD = 0.1
USUAL_ERROR = 0.04
"""Standard error of a gauge nobody knows, as a share of the way from new to the limit."""
UNKNOWN_START = 0.35
"""Standard deviation of a start that few readings tell, as a share of the usual wear."""
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


def scales(family: Family, is_used: Flags, first: Rough, most: float = np.inf) -> Scales:
    """Fit what a family's valued readings share, where nothing wears beyond `most`."""
    rate = np.full(len(family.series), first.rate)
    usual = usual_errors(family, first.span)
    is_sure = first.rate * family.x_error < SURE * usual[family.gauge]
    used = _chosen(family, _uncut(family, is_used & ~family.is_interval & is_sure, first, most))
    base = np.where(np.isnan(family.known_start), first.start, family.known_start)
    base = np.where(family.is_new, base, first.start)
    prior = _prior_variances(first, usual)
    informing = np.bincount(family.series_of[used], minlength=len(family.series))
    count_informing = int((informing >= 2).sum()) + int(((informing == 1) & family.is_new).sum())
    if count_informing < FEWEST_SERIES:
        return _as_usual(family, first, base, prior, usual, used)
    design, is_told = design_of(family, rate, used), _told(family, used)
    fitted = reml.fit(
        _stacks(family, rate, used, base, design, is_told),
        prior,
        is_thorough=int(used.sum()) < FEW,
    )
    beta = dict(zip(design.names, fitted.beta, strict=True))
    errors = dict(zip(design.names, np.sqrt(np.diag(fitted.beta_covariance)), strict=True))
    theta = _drawn_in(fitted, prior, is_told)
    return _made(family, first, base, theta, beta, errors, used, usual)


def _prior_variances(first: Rough, usual: Floats) -> Floats:
    wander = USUAL_WANDER**2 * first.usual_x
    mean = float(np.mean(usual))
    return np.concatenate([[0.1, mean**2, (first.span / 3) ** 2, wander], usual**2])


def _told(family: Family, used: Flags) -> Flags:
    """Give which variances (slope, start, found, wander, gauges) the used readings tell of."""
    count = np.bincount(family.series_of[used], minlength=len(family.series))
    new, found = (count > 0) & family.is_new, (count > 1) & ~family.is_new
    gauges = np.bincount(family.gauge[used], minlength=len(family.gauges)) > 0
    return np.concatenate([[True, new.sum() > 1, found.sum() > 1, True], gauges])


def _drawn_in(fitted: reml.Fit, prior: Floats, is_told: Flags) -> Floats:
    """Give the variances drawn towards the usual ones as far as the readings leave them open.

    A usual variance counts as if PRIOR_READINGS readings had given it, a fitted one for as many
    as would give it with the covariance it has; one at nought for EDGE_READINGS, one that no
    reading tells of for none.
    """
    variance = np.maximum(np.diag(fitted.theta_covariance), 1e-12 * prior**2)
    # A search that ends a hair above nought must not say more than one that ends there.
    is_inside = fitted.theta > LEAST_SHARE**4 * prior
    worth = np.where(is_inside, 2 * np.maximum(fitted.theta, prior) ** 2 / variance, EDGE_READINGS)
    worth = np.where(is_told, np.minimum(worth, 1e9), 0.0)
    found = (PRIOR_READINGS * prior + worth * fitted.theta) / (PRIOR_READINGS + worth)
    return np.maximum(found, LEAST_SHARE**2 * prior)


def _stacks(
    family: Family, rate: Floats, used: Flags, base: Floats, design: Design, is_told: Flags
) -> list[reml.Stack]:
    return [
        reml.Stack(
            family.y[rows] - base[series][:, None],
            design.columns[rows],
            _components(family, rate, series, rows, is_told),
        )
        for series, rows in stacks(family.series_of, used)
    ]


def _as_usual(
    family: Family, first: Rough, base: Floats, prior: Floats, usual: Floats, used: Flags
) -> Scales:
    nothing = np.zeros(len(family.gauges))
    found = family.y[used & ~family.is_new[family.series_of]]
    seen = float(np.median(found)) if len(found) else first.start + first.span / 3
    spread = max(float(np.std(found)) if len(found) > 2 else 0.0, first.span / 3)
    unknown = np.where(
        np.isnan(family.known_start), UNKNOWN_START * first.rate * first.usual_x, 0.0
    )
    return Scales(
        rate=np.full(len(family.series), first.rate),
        start=np.where(family.is_new, base, seen),
        start_variance=np.where(family.is_new, prior[1] + unknown**2, spread**2),
        wander=float(prior[3]),
        bias=nothing,
        bias_error=usual,
        gain=nothing,
        gain_error=np.full(len(usual), GAIN_SPREAD),
        error=usual,
        count=np.bincount(family.gauge[used], minlength=len(family.gauges)),
        span=first.span,
    )


def _levelled(
    family: Family, beta: dict[tuple[str, int], float], usual: Floats
) -> tuple[float, float, Floats]:
    """Give what all starts move by and how unsure that is, and the gauges' biases (G,).

    No gauge is taken as right. Only differences between gauges show in the readings; what they
    share is split between the gauges and the start by how far each is usually off (the start
    twice a gauge).
    """
    bias = np.array([beta.get(("bias", gauge), 0.0) for gauge in range(len(usual))])
    starts = [value for (name, _), value in beta.items() if name == "start"]
    is_known = not np.isnan(family.known_start[family.is_new]).any() and bool(starts)
    precision = 1 / usual**2
    start_precision = 1 / (2 * usual.mean()) ** 2 if is_known else 0.0
    start = float(np.mean(starts)) if starts else 0.0
    total = precision.sum() + start_precision
    shift = (start * start_precision - (bias * precision).sum()) / total
    return float(shift), float(1 / np.sqrt(total)), bias + shift


def _starts(
    beta: dict[tuple[str, int], float], errors: dict[tuple[str, int], float], count: int
) -> tuple[Floats, Floats]:
    """Give how each group's start lies off, and its error, drawn to their mean as far as they
    differ by no more than their errors (James-Stein, the spread by moments).
    """
    names = [("start", group) for group in range(count)]
    off, error = (np.array([of.get(name, 0.0) for name in names]) for of in (beta, errors))
    has = np.array([name in beta for name in names])
    if has.sum() < 2:
        return off, error
    between = max(float(np.var(off[has], ddof=1) - np.mean(error[has] ** 2)), 0.0)
    weight = 1 / (between + error[has] ** 2)
    mean, unsure = float(weight @ off[has] / weight.sum()), 1 / weight.sum()
    kept = between / np.maximum(between + error**2, 1e-300)
    drawn = mean + kept * (off - mean), np.sqrt(kept * error**2 + (1 - kept) ** 2 * unsure)
    return np.where(has, drawn[0], off), np.where(has, drawn[1], error)


def _made(
    family: Family,
    first: Rough,
    base: Floats,
    theta: Floats,
    beta: dict[tuple[str, int], float],
    errors: dict[tuple[str, int], float],
    used: Flags,
    usual: Floats,
) -> Scales:
    gauges = range(len(family.gauges))
    shift, level_error, bias = _levelled(family, beta, usual)
    start = start_groups(family)
    slope = groups(
        family.factors["riding"], len(family.levels["riding"]), np.ones_like(family.is_new)
    )
    offsets, unsure_of = _starts(beta, errors, int(start.max(initial=0)) + 1)
    offset, unsure = offsets[start], unsure_of[start]
    found = beta.get(("found", 0), first.span / 3)
    start_variance = np.where(
        family.is_new,
        theta[1] + unsure**2,
        FOUND_SPREAD**2 * theta[2] + errors.get(("found", 0), 0.0) ** 2,
    )
    rate = np.array([beta.get(("slope", group), first.rate) for group in slope])
    rate = rate + np.array([beta.get(("model slope", group), 0.0) for group in start])
    rate = np.where(rate > 0.1 * first.rate, rate, first.rate)
    gain_error = np.array([errors.get(("gain", gauge), GAIN_SPREAD) for gauge in gauges])
    raw = np.array([beta.get(("gain", gauge), 0.0) for gauge in gauges])
    return Scales(
        rate=rate,
        start=base + np.where(family.is_new, offset, found) - shift,
        start_variance=start_variance,
        wander=float(theta[3]),
        bias=bias,
        bias_error=np.array([errors.get(("bias", gauge), 0.0) for gauge in gauges]),
        gain=raw * GAIN_SPREAD**2 / (GAIN_SPREAD**2 + gain_error**2),
        gain_error=gain_error,
        error=np.sqrt(theta[4:]),
        count=np.bincount(family.gauge[used], minlength=len(family.gauges)),
        span=first.span,
        level_error=level_error,
    )
