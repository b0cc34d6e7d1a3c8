"""The search for the components of the greatest likelihood, from as many starts as it needs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ledger.analysis.reml_blocks import FloatArray
from ledger.analysis.reml_descent import ENOUGH, Objective, descend
from ledger.analysis.reml_likelihood import Likelihood, Point
from ledger.analysis.reml_squares import Squares

NEAR_ZERO = 1e-3
"""A root this small, beside the largest, stands at the boundary."""


FEW_READINGS = 300
"""Up to here every component is tried as the greatest."""


@dataclass(frozen=True, slots=True)
class Found:
    """Where a search ended."""

    root: FloatArray
    point: Point
    is_converged: bool


def best_root(
    likelihood: Likelihood, squares: Squares, start: FloatArray, *, is_thorough: bool = True
) -> Found:
    """Search from the start, and, if thorough, from elsewhere where another top may be higher.

    That is where the first search ended at the boundary or not at all, and where readings are
    so few that the surface is uneven and a search costs nothing.
    """
    objective = Objective(likelihood, squares)
    found = _climb(objective, likelihood, start)
    if not is_thorough:
        return found
    is_few = likelihood.count_readings <= FEW_READINGS
    if found.is_converged and not is_few and not len(_near_zero(found.root, squares)):
        return found
    others = _other_starts(squares, len(start)) if is_few else [squares.level()]
    again = [_climb(objective, likelihood, each) for each in others]
    return max([found, *again], key=lambda each: each.point.value)


def _other_starts(squares: Squares, count: int) -> list[FloatArray]:
    """Give one start with all components alike, and one for each above the others."""
    each = np.where(np.eye(count, dtype=bool), 1.0, 0.0)
    crossed = [triple[1] for triple in squares.covariances]
    tall = [squares.lifted(root) for index, root in enumerate(each) if index not in crossed]
    return [squares.level(), *tall]


def _near_zero(root: FloatArray, squares: Squares) -> NDArray[np.intp]:
    """Give which roots stand at the boundary; that of a covariance may be zero anywhere."""
    crossed = [triple[1] for triple in squares.covariances]
    sizes = np.abs(root)
    sizes[crossed] = np.inf
    sizes[np.array(squares.is_absent)] = np.inf
    top = sizes[np.isfinite(sizes)].max(initial=0.0)
    return np.flatnonzero(sizes <= NEAR_ZERO * top)


def _rescaled(objective: Objective, likelihood: Likelihood, root: FloatArray) -> FloatArray:
    """Give the root times the factor that fits best, which has a closed form."""
    point = objective.point(root)
    if point is None or not np.isfinite(point.squares):
        return root
    factor = float(np.sqrt(max(point.squares / likelihood.count_free, 1e-8)))
    return root * factor


def _climb(objective: Objective, likelihood: Likelihood, start: FloatArray) -> Found:
    """Search from one start; leave a saddle along its steepest bend, a few times at most."""
    root, is_converged = _rescaled(objective, likelihood, start), False
    for _ in range(4):
        root, is_converged = descend(objective, root)
        bends, ways = np.linalg.eigh(objective.bend(root))
        if bends[0] > -1e-5 * likelihood.count_readings:
            break
        root = _off_saddle(objective, root, ways[:, 0])
    root = _settled(objective, root)
    return Found(root, objective.standing(root), is_converged)


def _settled(objective: Objective, root: FloatArray) -> FloatArray:
    """Put roots that only near zero to zero itself, where that costs nothing."""
    for index in _near_zero(root, objective.squares):
        tried = root.copy()
        tried[index] = 0.0
        tried, _ = descend(objective, tried)
        if objective.value(tried) <= objective.value(root) + ENOUGH:
            root = tried
    return root


def _off_saddle(objective: Objective, root: FloatArray, way: FloatArray) -> FloatArray:
    steps = [root + size * way for size in (0.3, -0.3, 0.1, -0.1, 0.01, -0.01)]
    return min([*steps, root], key=objective.value)
