"""Newton steps down to where minus the log likelihood is flat, leaving saddles on the way.

The bend of the surface is taken without its sign (Dauphin et al. 2014, "Identifying and
attacking the saddle point problem in high-dimensional non-convex optimization"), so that every
step leads down, and a step that does not gain is halved.
"""

from __future__ import annotations

import numpy as np

from ledger.analysis.reml_blocks import FloatArray
from ledger.analysis.reml_likelihood import Likelihood, Point
from ledger.analysis.reml_squares import Squares
from ledger.analysis.unfit import CannotFit

ENOUGH = 1e-9
"""A search ends where the next step would add less than this to the log likelihood."""

MOST_STEPS = 200


class Objective:
    """Minus the log likelihood of a root, remembering the last few points."""

    def __init__(self, likelihood: Likelihood, squares: Squares) -> None:
        self._likelihood = likelihood
        self.squares = squares
        self._points: dict[bytes, Point | None] = {}

    def point(self, root: FloatArray) -> Point | None:
        """Give the model at a root, or None where a variance is not positive definite."""
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
        """Give minus the log likelihood, infinite where there is no model."""
        point = self.point(root)
        return -point.value if point is not None and np.isfinite(point.value) else np.inf

    def standing(self, root: FloatArray) -> Point:
        """Give the model at a root; raise `CannotFit` where there is none."""
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
        """Give the first derivatives in the root, (q,)."""
        return np.asarray(-self.squares.slopes(root).T @ self.standing(root).gradient)

    def bend(self, root: FloatArray) -> FloatArray:
        """Give the second derivatives in the root, (q, q)."""
        point = self.standing(root)
        return self.squares.bent(root, point.gradient, point.hessian)


def descend(objective: Objective, root: FloatArray) -> tuple[FloatArray, bool]:
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


def _newton_step(objective: Objective, root: FloatArray) -> tuple[FloatArray, float]:
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
    objective: Objective, root: FloatArray, step: FloatArray, gain: float
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
