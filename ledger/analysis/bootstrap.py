"""Intervals of ratios of sums, by resampling whole clusters (all jobs of a bike together)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ledger.analysis.life_bounds import Column, FloatArray
from ledger.analysis.rounding import IntArray

BLOCKS = 2000
RESAMPLES = 2000


@dataclass(frozen=True, slots=True, eq=False)
class RatioOfSums:
    """Sum over sum for each of G groups, with percentile intervals at L levels."""

    estimate: FloatArray
    """(G,) NaN where the denominator's sum is 0."""
    low: FloatArray
    """(L, G) NaN where fewer than two clusters have anything in the group."""
    high: FloatArray
    count_clusters: IntArray
    """(G,)"""
    levels: tuple[float, ...]
    is_in_blocks: bool
    """Whether there were so many clusters that they were dealt into blocks (random groups)."""


def ratio_of_sums(
    numerator: Column,
    denominator: Column,
    cluster: Column,
    *,
    group: IntArray | None = None,
    count_groups: int = 1,
    levels: Sequence[float] = (0.8, 0.95),
    seed: int = 0,
    resamples: int = RESAMPLES,
    blocks: int = BLOCKS,
) -> RatioOfSums:
    """Give each group's sum of the numerator over that of the denominator, rows (N,)."""
    raise NotImplementedError
