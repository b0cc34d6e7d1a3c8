"""The search for the components of the greatest likelihood: Newton in a trust region."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from ledger.analysis.reml_likelihood import FloatArray, Likelihood, Point
from ledger.analysis.reml_squares import Squares
from ledger.analysis.unfit import CannotFit

NEAR_ZERO = 1e-3
"""A root this small, beside the largest, stands at the boundary."""


@dataclass(frozen=True, slots=True)
class Found:
    """Where a search ended."""

    root: FloatArray
    value: float
    is_converged: bool


class _Objective:
    """Minus the log likelihood of a root, remembering the last few points."""

    def __init__(self, likelihood: Likelihood, squares: Squares) -> None:
        self._likelihood = likelihood
        self._squares = squares
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
            return self._likelihood.at(self._squares.theta(root))
        except np.linalg.LinAlgError:
            return None

    def value(self, root: FloatArray) -> float:
        point = self.point(root)
        return -point.value if point is not None and np.isfinite(point.value) else np.inf

    def _standing(self, root: FloatArray) -> Point:
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
        return np.asarray(-self._squares.slopes(root).T @ self._standing(root).gradient)

    def bend(self, root: FloatArray) -> FloatArray:
        point = self._standing(root)
        return self._squares.bent(root, point.gradient, point.hessian)


def best_root(likelihood: Likelihood, squares: Squares, start: FloatArray) -> Found:
    """Search from the start, and again from elsewhere when that ended at the boundary.

    A likelihood with a component at zero may have a second, higher top; so may one that the
    first search did not climb to its end.
    """
    objective = _Objective(likelihood, squares)
    found = _climb(objective, likelihood, _rescaled(objective, likelihood, start))
    if found.is_converged and not _is_at_boundary(found.root, squares):
        return found
    level = squares.lifted(np.zeros_like(start), 1.0)
    again = _climb(objective, likelihood, _rescaled(objective, likelihood, level))
    return max(found, again, key=lambda each: each.value)


def _is_at_boundary(root: FloatArray, squares: Squares) -> bool:
    crossed = [triple[1] for triple in squares.covariances]
    sizes = np.abs(np.delete(root, crossed))
    return bool(np.any(sizes < NEAR_ZERO * sizes.max(initial=0.0)))


def _rescaled(objective: _Objective, likelihood: Likelihood, root: FloatArray) -> FloatArray:
    """Give the root times the factor that fits best, which has a closed form."""
    point = objective.point(root)
    if point is None or not np.isfinite(point.squares):
        return root
    factor = float(np.sqrt(max(point.squares / likelihood.count_free, 1e-8)))
    return root * factor


def _climb(objective: _Objective, likelihood: Likelihood, start: FloatArray) -> Found:
    """Search from one start; leave a saddle along its steepest bend, a few times at most."""
    tolerance = 1e-5 * np.sqrt(likelihood.count_readings)
    root = start
    for _ in range(4):
        root = _minimised(objective, root, tolerance)
        bends, ways = np.linalg.eigh(objective.bend(root))
        if bends[0] > -tolerance:
            break
        root = _off_saddle(objective, root, ways[:, 0])
    return Found(root, -objective.value(root), _is_flat(objective, root, tolerance))


def _minimised(objective: _Objective, root: FloatArray, tolerance: float) -> FloatArray:
    done = minimize(
        objective.value,
        root,
        jac=objective.slope,
        hess=objective.bend,
        method="trust-exact",
        options={"gtol": tolerance, "maxiter": 100, "initial_trust_radius": 0.5},
    )
    return np.asarray(done.x)


def _off_saddle(objective: _Objective, root: FloatArray, way: FloatArray) -> FloatArray:
    steps = [root + size * way for size in (0.3, -0.3, 0.1, -0.1, 0.01, -0.01)]
    return min([*steps, root], key=objective.value)


def _is_flat(objective: _Objective, root: FloatArray, tolerance: float) -> bool:
    """Say whether a further Newton step would gain less than 1e-5 in the likelihood."""
    slope = objective.slope(root)
    if np.linalg.norm(slope) <= tolerance:
        return True
    step = np.linalg.lstsq(objective.bend(root), slope, rcond=1e-12)[0]
    return bool(abs(slope @ step) / 2 < 1e-5)
