"""Intervals of ratios of sums, by resampling whole clusters (all jobs of a bike together).

Efron and Tibshirani, An Introduction to the Bootstrap (1993), 13: percentile intervals. Where
clusters are many they are dealt into blocks by a hash of their names and blocks are resampled
(random groups: Wolter, Introduction to Variance Estimation, 2): as many draws for any size.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.histories import numbers
from ledger.analysis.life_bounds import (
    BadLives,
    Column,
    FloatArray,
    refuse,
    refuse_draws,
    refuse_no_column,
    same_length,
    share_between,
)
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
    """Give each group's sum of the numerator over that of the denominator, rows (N,).

    `group` numbers the groups from 0; a cluster may have rows in several, and is drawn for all of
    them at once. `cluster` is a column of names or whole numbers. The order of rows does not
    matter. Raises `BadLives` for columns of unlike length and figures that are not finite.
    """
    over, under = numbers(numerator, "numerator"), numbers(denominator, "denominator")
    who, names = _named(cluster)
    of = np.zeros(len(over), dtype=np.int64) if group is None else np.asarray(group)
    same_length(
        over, {"denominator": under, "cluster": who.astype(float), "group": of.astype(float)}
    )
    _check(over, under, of, count_groups)
    refuse_draws(resamples, seed)
    for level in levels:
        share_between(level, "levels")
    is_in_blocks = len(names) > blocks
    unit = (_dealt(names, blocks) if is_in_blocks else _in_order(names))[who]
    count_units = blocks if is_in_blocks else len(names)
    sums = [_summed(unit, of, each, count_units, count_groups) for each in (over, under)]
    estimate = _quotient(sums[0].sum(axis=0), sums[1].sum(axis=0))
    counts = _count_clusters(who, of, len(names), count_groups)
    low, high = _limits(sums, levels, resamples, seed)
    low[:, counts < 2], high[:, counts < 2] = np.nan, np.nan
    return RatioOfSums(estimate, low, high, counts, tuple(levels), is_in_blocks)


def _named(cluster: Column) -> tuple[IntArray, pa.StringArray]:
    """Give each row the number of its cluster, and the clusters' names."""
    refuse_no_column(cluster, "cluster")
    is_arrow = isinstance(cluster, pa.Array | pa.ChunkedArray)
    try:
        column = cluster if is_arrow else pa.array(cluster)
        column = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
        encoded = pc.dictionary_encode(column.cast(pa.string()))
    except (pa.ArrowInvalid, pa.ArrowTypeError, pa.ArrowNotImplementedError):
        raise BadLives("column", "cluster", "some of it is no name", "Give text") from None
    if encoded.null_count:
        raise BadLives("column", "cluster", "some of it has no name", "Name the cluster")
    return encoded.indices.to_numpy(zero_copy_only=False).astype(np.int64), encoded.dictionary


def _in_order(names: pa.StringArray) -> IntArray:
    """Give the clusters their places in the order of their names."""
    place = np.empty(len(names), dtype=np.int64)
    place[pc.sort_indices(names).to_numpy()] = np.arange(len(names))
    return place


def _dealt(names: pa.StringArray, blocks: int) -> IntArray:
    """Deal clusters into blocks by a hash of their names (FNV-1a), so that no order shows."""
    length = np.asarray(pc.binary_length(names.cast(pa.binary())), dtype=np.int64)
    begin = np.cumsum(length) - length
    letters = np.frombuffer("".join(names.to_pylist()).encode(), dtype=np.uint8)
    found = np.full(len(names), 0xCBF29CE484222325, dtype=np.uint64)
    for place in range(int(length.max(initial=0))):
        there = np.flatnonzero(length > place)
        letter = letters[begin[there] + place].astype(np.uint64)
        found[there] = (found[there] ^ letter) * np.uint64(0x100000001B3)
    return np.asarray((found >> np.uint64(16)) % np.uint64(blocks), dtype=np.int64)


def _check(over: FloatArray, under: FloatArray, of: IntArray, count_groups: int) -> None:
    for field, column in (("numerator", over), ("denominator", under)):
        refuse(~np.isfinite(column), field, "it is infinite", "Give a number")
    refuse((of < 0) | (of >= count_groups), "group", "there is no such group", "Number it from 0")


def _summed(
    unit: IntArray, of: IntArray, column: FloatArray, count_units: int, count_groups: int
) -> FloatArray:
    """Give the sums (units, groups)."""
    summed = np.bincount(
        unit * count_groups + of, weights=column, minlength=count_units * count_groups
    )
    return np.asarray(summed.reshape(count_units, count_groups))


def _count_clusters(who: IntArray, of: IntArray, count: int, count_groups: int) -> IntArray:
    there = np.zeros((count, count_groups), dtype=np.bool_)
    there[who, of] = True
    return np.asarray(there.sum(axis=0), dtype=np.int64)


def _limits(
    sums: list[FloatArray], levels: Sequence[float], resamples: int, seed: int
) -> tuple[FloatArray, FloatArray]:
    count, groups = sums[0].shape
    if not count:
        return np.full((len(levels), groups), np.nan), np.full((len(levels), groups), np.nan)
    drawn = _drawn(count, resamples, seed)
    ratios = _quotient(drawn @ sums[0], drawn @ sums[1])
    tails = np.array([(1 - level) / 2 for level in levels])
    found = np.full((2 * len(levels), groups), np.nan)
    for group in range(groups):
        known = ratios[:, group][~np.isnan(ratios[:, group])]
        if len(known):
            found[:, group] = np.quantile(known, np.concatenate([tails, 1 - tails]))
    return found[: len(levels)], found[len(levels) :]


def _drawn(count: int, resamples: int, seed: int) -> FloatArray:
    """Give how often each unit is in each sample (resamples, count), as drawn with replacement."""
    rng = np.random.default_rng(seed)
    chosen = rng.integers(0, count, (resamples, count))
    chosen += np.arange(resamples)[:, None] * count
    drawn = np.bincount(chosen.ravel(), minlength=resamples * count)
    return np.asarray(drawn.reshape(resamples, count), dtype=np.float64)


def _quotient(over: FloatArray, under: FloatArray) -> FloatArray:
    found = np.full(over.shape, np.nan)
    np.divide(over, under, out=found, where=under != 0)
    return found
