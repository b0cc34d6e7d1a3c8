"""Exact chances for few events: sums of uniform figures, and pairs in rising order."""

from __future__ import annotations

import math

import numpy as np

from ledger.analysis.histories import IntArray
from ledger.analysis.life_bounds import FloatArray

MOST_UNIFORM = 12
"""Sums of more are taken as normal: then no chance of 5 % is off by 0.2 % of cases."""
MOST_PAIRS = 1000
"""Counts among more are taken as normal."""
_ROUNDING = 1e-9


def chance_of_sum_below(total: float, widths: FloatArray) -> float | None:
    """Give the chance that independent uniforms from 0 to each of `widths` sum to at most `total`.

    Irwin–Hall where the widths are alike; else the same sum over all subsets of them. None where
    there are more than `MOST_UNIFORM`, or where widths are so unlike that the sum loses its digits.
    """
    whole = float(widths.sum())
    if len(widths) > MOST_UNIFORM:
        return None
    if total * 2 > whole:  # the smaller tail keeps more digits
        above = chance_of_sum_below(whole - total, widths)
        return None if above is None else 1 - above
    if total <= 0:
        return 0.0
    sums, signs = np.zeros(1), np.ones(1)
    for width in widths:
        sums, signs = np.append(sums, sums + width), np.append(signs, -signs)
    count = len(widths)
    log_factor = count * math.log(total) - math.lgamma(count + 1) - np.log(widths).sum()
    terms = np.maximum(1 - sums / total, 0) ** count
    factor = math.exp(float(log_factor))
    if factor * terms.sum() * 2.0**-50 > _ROUNDING:
        return None
    return float(np.clip(factor * math.fsum(signs * terms), 0, 1))


def chances_of_rising_pairs(lengths: IntArray) -> FloatArray | None:
    """Give the chance of each count of rising pairs in sequences in random order, all together.

    `lengths` are those of the sequences. Entry r is the chance of exactly r pairs (earlier below
    later) within sequences. None where there are more than `MOST_PAIRS` pairs.
    """
    pairs = lengths * (lengths - 1) // 2
    if pairs.sum() > MOST_PAIRS:
        return None
    chances = np.ones(1)
    for length in lengths[lengths > 1]:
        for size in range(2, int(length) + 1):
            chances = np.convolve(chances, np.full(size, 1 / size))
    return chances


def count_rising_pairs(sequence: IntArray, values: FloatArray) -> tuple[int, int]:
    """Count pairs of which the earlier is below the later, and pairs of equals, within sequences.

    `sequence` says to which sequence each value belongs: sorted, values in their order. Works
    through the distances between the two of a pair, so that its time grows as the square of the
    longest sequence.
    """
    rising = equal = 0
    last = np.searchsorted(sequence, sequence, side="right")
    place, apart = np.arange(len(values)), 1
    while len(place := place[place + apart < last[place]]):
        earlier, later = values[place], values[place + apart]
        rising += int(np.count_nonzero(earlier < later))
        equal += int(np.count_nonzero(earlier == later))
        apart += 1
    return rising, equal
