"""Readings of parts that wear along lines of their own, made from a seed; shared by tests."""

from typing import NamedTuple

import numpy as np

from ledger.analysis.reml import FloatArray, Stack


class Readings(NamedTuple):
    """One row a reading."""

    part: np.ndarray
    x: FloatArray
    y: FloatArray


def true_lines(seed: int, count: int, spread: tuple[float, float] = (0.2, 0.3)) -> FloatArray:
    """Give the true intercepts and slopes (N, 2) of the parts of `wearing_parts`."""
    return np.array([0.2, 1.0]) + np.random.default_rng([seed, 1]).normal(size=(count, 2)) * spread


def wearing_parts(
    seed: int,
    count: int = 60,
    *,
    spread: tuple[float, float] = (0.2, 0.3),
    scatter: float = 0.15,
    is_balanced: bool = False,
    most: int = 3,
) -> Readings:
    """Give one to `most` readings a part about lines near 0.2 + x."""
    rng = np.random.default_rng([seed, 2])
    counts = np.full(count, most) if is_balanced else rng.integers(1, most + 1, count)
    part = np.repeat(np.arange(count), counts)
    x = rng.uniform(0.0, 3.0, len(part))
    ends = true_lines(seed, count, spread)[part]
    y = ends[:, 0] + ends[:, 1] * x + scatter * rng.normal(size=len(part))
    return Readings(part, x, y)


def stacks_of(
    part: np.ndarray, y: FloatArray, fixed: FloatArray, random: FloatArray
) -> list[Stack]:
    """Give one stack a part, written out part by part: a plain way to the engine's input.

    The components are the variance of each column of `random`, the covariance of the first
    two before the second, and the identity last.
    """
    return [
        _stack(y[part == label], fixed[part == label], random[part == label])
        for label in np.unique(part)
    ]


def _stack(y: FloatArray, fixed: FloatArray, random: FloatArray) -> Stack:
    first, second = random[:, 0], random[:, 1]
    pieces = [np.outer(first, first), np.outer(first, second) + np.outer(second, first)]
    pieces += [np.outer(column, column) for column in random.T[1:]]
    return Stack(y[None], fixed[None], np.array([*pieces, np.eye(len(y))])[:, None])
