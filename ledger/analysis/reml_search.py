"""The search for the components of the greatest likelihood: Newton steps that leave saddles.

The bend of the surface is taken without its sign (Dauphin et al. 2014, "Identifying and
attacking the saddle point problem in high-dimensional non-convex optimization"), so that every
step leads down, and a step that does not gain is halved.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ledger.analysis.reml_blocks import FloatArray
from ledger.analysis.reml_likelihood import Likelihood, Point
from ledger.analysis.reml_squares import Squares
from ledger.analysis.unfit import CannotFit

NEAR_ZERO = 1e-3
"""A root this small, beside the largest, stands at the boundary."""


ENOUGH = 1e-9
"""A search ends where the next step would add less than this to the log likelihood."""

MOST_STEPS = 200

FEW_READINGS = 300
"""Up to here every component is tried as the greatest."""


@dataclass(frozen=True, slots=True)
class Found:
    """Where a search ended."""

    root: FloatArray
    point: Point
    is_converged: bool


class _Objective:
    """Minus the log likelihood of a root, remembering the last few points."""

    def __init__(self, likelihood: Likelihood, squares: Squares) -> None:
        self._likelihood = likelihood
        self.squares = squares
        self._points: dict[bytes, Point | None] = {}

    def point(self, root: FloatArray) -> Point | None:
        key = root.tobytes()
        if key not in self._points:
            while len(self._points) >= 2:
                del self._points[next(iter(self._points))]
            self._points[key] = self._evaluated(root)
        return self._points[key]

    def _evaluated(self, root: FloatArray) -> Point | None:
        """Give the point, or None where a variance is not positive definite to the last digit."""
        try:
            return self._likelihood.at(self.squares.theta(root))
        except np.linalg.LinAlgError:
            return None

    def value(self, root: FloatArray) -> float:
        point = self.point(root)
        return -point.value if point is not None and np.isfinite(point.value) else np.inf

    def standing(self, root: FloatArray) -> Point:
        point = self.point(root)
        if point is None:
            raise CannotFit(
                "components",
                "variance",
                "at the start it is not positive definite",
                "Give symmetric components whose sum is, such as one identity a part",
            )
        return point

    def slope(self, root: FloatArray) -> FloatArray:
        return np.asarray(-self.squares.slopes(root).T @ self.standing(root).gradient)

    def bend(self, root: FloatArray) -> FloatArray:
        point = self.standing(root)
        return self.squares.bent(root, point.gradient, point.hessian)


def best_root(likelihood: Likelihood, squares: Squares, start: FloatArray) -> Found:
    """Search from the start, and from elsewhere where another top may be higher.

    That is where the first search ended at the boundary or not at all, and where readings are
    so few that the surface is uneven and a search costs nothing.
    """
    objective = _Objective(likelihood, squares)
    found = _climb(objective, likelihood, start)
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


def _rescaled(objective: _Objective, likelihood: Likelihood, root: FloatArray) -> FloatArray:
    """Give the root times the factor that fits best, which has a closed form."""
    point = objective.point(root)
    if point is None or not np.isfinite(point.squares):
        return root
    factor = float(np.sqrt(max(point.squares / likelihood.count_free, 1e-8)))
    return root * factor


def _climb(objective: _Objective, likelihood: Likelihood, start: FloatArray) -> Found:
    """Search from one start; leave a saddle along its steepest bend, a few times at most."""
    root, is_converged = _rescaled(objective, likelihood, start), False
    for _ in range(4):
        root, is_converged = _descend(objective, root)
        bends, ways = np.linalg.eigh(objective.bend(root))
        if bends[0] > -1e-5 * likelihood.count_readings:
            break
        root = _off_saddle(objective, root, ways[:, 0])
    root = _settled(objective, root)
    return Found(root, objective.standing(root), is_converged)


def _settled(objective: _Objective, root: FloatArray) -> FloatArray:
    """Put roots that only near zero to zero itself, where that costs nothing."""
    for index in _near_zero(root, objective.squares):
        tried = root.copy()
        tried[index] = 0.0
        tried, _ = _descend(objective, tried)
        if objective.value(tried) <= objective.value(root) + ENOUGH:
            root = tried
    return root


def _descend(objective: _Objective, root: FloatArray) -> tuple[FloatArray, bool]:
    """Step until a step would gain nothing; say whether that came before the last step."""
    for _ in range(MOST_STEPS):
        step, gain = _newton_step(objective, root)
        if gain < ENOUGH:
            return min(root + step, root, key=objective.value), True
        nearer = _shortened(objective, root, step, gain)
        if nearer is None:
            return root, gain < 1e-5
        root = nearer
    return root, False


def _newton_step(objective: _Objective, root: FloatArray) -> tuple[FloatArray, float]:
    """Give the step, no longer than the root or 1, and the gain a quadratic would have from it.

    Each root is first put in units of its own bend, since one component may be pinned far
    more sharply than another.
    """
    bend = objective.bend(root)
    sharp = np.sqrt(np.abs(np.diag(bend)))
    unit = 1.0 / np.where(sharp > 0, sharp, 1.0)
    bends, ways = np.linalg.eigh(bend * np.outer(unit, unit))
    steep = np.maximum(np.abs(bends), 1e-10)
    along = ways.T @ (unit * objective.slope(root))
    step = -unit * (ways @ (along / steep))
    longest = max(1.0, float(np.linalg.norm(root)))
    share = min(1.0, longest / max(float(np.linalg.norm(step)), 1e-300))
    return step * share, float(along @ (along / steep)) / 2


def _shortened(
    objective: _Objective, root: FloatArray, step: FloatArray, gain: float
) -> FloatArray | None:
    """Give the root after the longest halving of the step that gains, or None."""
    start = objective.value(root)
    for halvings in range(30):
        share = 0.5**halvings
        tried = _kept_off_zero(root, root + share * step, objective.squares)
        if objective.value(tried) < start - 1e-4 * share * gain:
            return tried
    return None


def _kept_off_zero(root: FloatArray, tried: FloatArray, squares: Squares) -> FloatArray:
    """Give the step's end, but a large root that would jump past zero a quarter of itself.

    A root and its negative are the same model: beyond zero the step knows nothing.
    """
    is_large = np.abs(root) > 0.05 * np.abs(root).max()
    is_large[[triple[1] for triple in squares.covariances]] = False
    return np.where(is_large & (root * tried <= 0), root / 4, tried)


def _off_saddle(objective: _Objective, root: FloatArray, way: FloatArray) -> FloatArray:
    steps = [root + size * way for size in (0.3, -0.3, 0.1, -0.1, 0.01, -0.01)]
    return min([*steps, root], key=objective.value)
