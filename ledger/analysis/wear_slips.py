"""Slips of the pen: a figure that would fit if it had been entered in another unit.

A reading is a slip where what everything else foretells makes the mended figure so much likelier
than the one entered that it outweighs how seldom people slip (Bayes' rule). Among right readings
the ratio exceeds a bound once in as many at most, whatever the model foretells.
"""

from __future__ import annotations

import numpy as np
from scipy.special import logsumexp

from ledger.analysis.wear_data import Family, Flags, Floats, Ints
from ledger.analysis.wear_forecast import Mixture
from ledger.analysis.wear_foretell import foretell
from ledger.analysis.wear_scale import Scales

LENGTHS = ("mm", "in", "")
"""Units that inches may be taken for; a table need not name one."""
SLIPS = ((25.4, "entered in inches for mm"), (1 / 25.4, "entered in mm for inches"),
         (10.0, "entered with the point one place off"),
         (0.1, "entered with the point one place off"))  # fmt: skip
SURE = np.log(300.0)
"""Log ratio from which a slip is likelier by far, where one such reading in fifteen is one."""
FAR_GONE = 0.5
"""Only figures of what shrinks that are past their limit by this share of it are taken for slips
here: little is left, and right ones are seldom read. Any other that lies far off is flagged for
that alone; chains and sprockets do run as far past their limits as a slip would take them."""
SUSPECT = 1.5


def slips_of(family: Family) -> tuple[tuple[float, str], ...]:
    """Give the factors that mend a slip at what a family measures, and how each is called."""
    is_length = family.measured_in in LENGTHS
    return tuple(slip for slip in SLIPS if is_length or slip[0] in (10.0, 0.1))


def slipped(
    family: Family,
    scales: Scales,
    prior: tuple[Floats, Floats],
    readings: tuple[Floats, Floats],
    targets: Ints,
    given: Flags,
) -> Ints:
    """Give which of the readings `targets` (T,) are slips, one of a series at most.

    Each is foretold from those of its series that are `given` (T, most).
    """
    if family.direction > 0 or not len(targets):
        return targets[:0]
    seen = foretell(family, scales, prior, readings, targets, given)
    shown = family.y[targets]
    mended = [np.log(factor) + _log_density(seen, shown * factor) for factor, _ in slips_of(family)]
    ratio = np.max(mended, axis=0) - _log_density(seen, shown)
    limit = family.limit[family.series_of[targets]]
    is_far_gone = shown - limit > FAR_GONE * np.abs(limit)
    slips = np.flatnonzero(is_far_gone & (ratio > SURE))
    # Beside a slip the right readings of its part lie far off too: the one alone that leaves the
    # likeliest whole, by what parts alike let expect of each.
    alone = foretell(family, scales, prior, readings, targets, np.zeros_like(given))
    whole = np.max(mended, axis=0) - _log_density(alone, shown)
    order = slips[np.argsort(-whole[slips], kind="stable")]
    _, first = np.unique(family.series_of[targets[order]], return_index=True)
    return np.sort(targets[order[first]])


def _log_density(seen: Mixture, figure: Floats) -> Floats:
    off = (figure[:, None] - seen.means) / seen.deviations
    return np.asarray(
        logsumexp(np.log(seen.weights) - off**2 / 2 - np.log(seen.deviations), axis=1)
    )
