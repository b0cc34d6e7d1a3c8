"""Readings that do not belong: told from all others of their part and of parts alike.

A reading is judged by how far it lies from what everything else foretells. What is flagged is
left out of the fit and listed with what it most likely is; nothing is thrown away in silence.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtri_exp

from ledger.analysis.wear_data import Family, Flags, Floats, Ints
from ledger.analysis.wear_forecast import HIGH, LOW, Mixture
from ledger.analysis.wear_foretell import foretell, quantile_shown
from ledger.analysis.wear_lines import leave_one_out
from ledger.analysis.wear_scale import Scales
from ledger.analysis.wear_slips import SUSPECT, slipped, slips_of

FAR = 4.5
"""Standard deviations; a normal reading lies farther off once in 150,000."""
SHARP = 0.6
"""What was expected must be narrower than this share of new to limit to guess at a slip."""
AGAIN = 3


@dataclass(frozen=True, slots=True)
class Flagged:
    """One reading left out of the fit: row of the table, and why."""

    row: int
    series: str
    low: float
    high: float
    """What was expected, 80 %, as the gauge would show it."""
    off: float
    """How far off it is, in standard deviations; above nought: more worn than expected."""
    why: str


def moments(log_mean: Floats, log_variance: Floats) -> tuple[Floats, Floats]:
    """Give mean and variance of log-normal figures."""
    mean = np.exp(log_mean + log_variance / 2)
    return mean, mean**2 * np.expm1(log_variance)


def deviations(
    family: Family,
    scales: Scales,
    prior: tuple[Floats, Floats],
    readings: tuple[Floats, Floats],
    used: Flags,
    known: Flags,
) -> tuple[Floats, Floats]:
    """Give how far (M,) each valued reading lies from what the others say, in deviations, and how
    surprising it is (M,): the log of how much likelier its series is without it, less a constant.

    Readings that are `known` but not `used` are judged by the used ones, too.
    """
    valued = used & ~family.is_interval
    mean, variance = leave_one_out(family, scales, moments(*prior), readings[0], readings[1], used)
    off = np.where(valued, (readings[0] - mean) / np.sqrt(variance), 0.0)
    surprise = np.where(valued, off**2 / 2 + np.log(np.where(valued, variance, 1.0)) / 2, -np.inf)
    suspects = np.flatnonzero((np.abs(off) > FAR - 1) & _is_last(family, used))
    if len(suspects):
        given = _others(family, suspects, used)
        seen = foretell(family, scales, prior, readings, suspects, given)
        off[suspects] = _normal_score(seen, family.y[suspects])
    left = np.flatnonzero(known & ~used & ~family.is_interval)
    if len(left):
        seen = foretell(family, scales, prior, readings, left, _others(family, left, used))
        off[left] = _normal_score(seen, family.y[left])
    return off, surprise


def slips(
    family: Family,
    scales: Scales,
    prior: tuple[Floats, Floats],
    readings: tuple[Floats, Floats],
    used: Flags,
) -> Ints:
    """Give the used readings that would fit far better if a slip of the pen was mended."""
    mean, variance = leave_one_out(family, scales, moments(*prior), readings[0], readings[1], used)
    valued = used & ~family.is_interval
    off = np.where(valued, (readings[0] - mean) / np.sqrt(variance), 0.0)
    targets = np.flatnonzero(np.abs(off) > SUSPECT)
    given = _others(family, targets, used)
    return slipped(family, scales, prior, readings, targets, given)


def back_of_each(family: Family, off: Floats, is_left_out: Flags) -> Ints:
    """Give the reading of each series that was left out and yet lies nearest, if not FAR off."""
    near = np.flatnonzero(is_left_out & (np.abs(off) <= FAR))
    order = near[np.argsort(np.abs(off[near]), kind="stable")]
    _, first = np.unique(family.series_of[order], return_index=True)
    return np.sort(order[first])


def _is_last(family: Family, used: Flags) -> Flags:
    last = np.zeros(len(used), dtype=bool)
    of = np.flatnonzero(used)
    ends = np.append(np.diff(family.series_of[of]) > 0, True) if len(of) else of
    last[of[ends.astype(bool)]] = True
    return last


def _places(family: Family, targets: Ints) -> tuple[Ints, Ints]:
    size = len(family.series)
    first = np.searchsorted(family.series_of, np.arange(size + 1))
    count = np.diff(first)[family.series_of[targets]]
    return first[family.series_of[targets]], count


def _others(family: Family, targets: Ints, used: Flags) -> Flags:
    """Give which (T, most) of their series' readings are used and not the target itself."""
    first, count = _places(family, targets)
    place = np.arange(int(count.max(initial=0)))
    row = np.minimum(first[:, None] + place, len(used) - 1)
    found: Flags = (place < count[:, None]) & used[row] & (row != targets[:, None])
    return found


def _normal_score(seen: Mixture, figure: Floats) -> Floats:
    """Give the normal score of a figure, far out too, from the mixture's lighter tail."""
    far = (figure[:, None] - seen.means) / seen.deviations
    weight = np.log(seen.weights)
    below = np.logaddexp.reduce(log_ndtr(far) + weight, axis=1)
    above = np.logaddexp.reduce(log_ndtr(-far) + weight, axis=1)
    found: Floats = np.where(
        below < above, ndtri_exp(np.minimum(below, -1e-12)), -ndtri_exp(np.minimum(above, -1e-12))
    )
    return found


def worst_of_each(family: Family, off: Floats, surprise: Floats) -> Ints:
    """Give the reading of each series that is most surprising among those that lie FAR off.

    Beside a wrong figure the right ones lie far off too; what is left without the wrong one is
    the most likely.
    """
    far = np.flatnonzero(np.abs(off) > FAR)
    order = far[np.argsort(-surprise[far], kind="stable")]
    _, first = np.unique(family.series_of[order], return_index=True)
    return np.sort(order[first])


def explained(
    family: Family,
    scales: Scales,
    prior: tuple[Floats, Floats],
    readings: tuple[Floats, Floats],
    *,
    used: Flags,
    targets: Ints,
    off: Floats,
    is_slip: Flags,
) -> list[Flagged]:
    """Give the flagged readings (`targets`, not used) with what they most likely are.

    Those that `is_slip` (M,) are named as slips though what is expected of them is not sharp.
    """
    if not len(targets):
        return []
    given = _others(family, targets, used)
    seen = foretell(family, scales, prior, readings, targets, given)
    low, high = (quantile_shown(seen, family, scales, targets, share) for share in (LOW, HIGH))
    slips = [
        (_is_inside(family.y[targets] * factor, low, high), why) for factor, why in slips_of(family)
    ]
    past_all = family.y[targets] > scales.worn_out
    is_new_like = np.abs(
        family.y[targets] - scales.start[family.series_of[targets]]
    ) < 2.5 * np.sqrt(scales.error[family.gauge[targets]] ** 2 + scales.start_variance.min())
    found = []
    for place, target in enumerate(targets):
        is_sharp = (
            past_all[place] or is_slip[target] or high[place] - low[place] < SHARP * scales.span
        )
        likely = [why for fits, why in slips if is_sharp and fits[place]]
        bounds = sorted((family.direction * low[place], family.direction * high[place]))
        bounds = [max(end, 0.0) for end in bounds] if family.direction < 0 else bounds
        found.append(
            Flagged(
                row=int(family.row[target]),
                series=family.series[family.series_of[target]],
                low=float(bounds[0]),
                high=float(bounds[1]),
                off=float(off[target]),
                why=_why(
                    likely, bool(is_new_like[place]), bool(off[target] > 0), given[place].any()
                ),
            )
        )
    return found


def _is_inside(figure: Floats, low: Floats, high: Floats) -> Flags:
    """Give which figures (T,) lie between these bounds."""
    found: Flags = (figure >= low) & (figure <= high)
    return found


def _why(likely: list[str], is_new_like: bool, is_more_worn: bool, has_others: bool) -> str:
    if likely:
        return f"it would fit if it was {likely[0]}"
    if is_new_like and not is_more_worn:
        return "it reads as new: a part fitted and not recorded, or another part's figure"
    against = "this part's other readings" if has_others else "parts alike"
    side = "more" if is_more_worn else "less"
    return f"far {side} worn than {against} let expect: check the figure, or what changed"
