"""Stacks of equally many readings, and the sums over their parts that a likelihood is made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

FLOOR = 1e-10
"""Variance added to every reading, as a share of the scatter about the least-squares fit."""


@dataclass(frozen=True, slots=True)
class Stack:
    """All N parts that have n readings each, with p fixed effects and q variance components."""

    y: FloatArray
    """(N, n) the readings."""
    fixed: FloatArray
    """(N, n, p) the design of the fixed effects."""
    components: FloatArray
    """(q, N, n, n) symmetric: the variance of part i is sum_k theta_k components[k, i]."""


@dataclass(frozen=True, slots=True)
class Moments:
    """Sums over parts; `fixed` is X'W V_k W X, `pull` X'W V_k u, pairs as in the Hessian."""

    trace: FloatArray  # (q,) tr(W V_k)
    quadratic: FloatArray  # (q,) u' V_k u
    fixed: FloatArray  # (q, p, p)
    pull: FloatArray  # (q, p)
    trace_pairs: FloatArray  # (q, q) tr(W V_k W V_l)
    quadratic_pairs: FloatArray  # (q, q) u' V_k W V_l u
    fixed_pairs: FloatArray  # (q, q, p, p) X'W V_k W V_l W X

    def all(self) -> tuple[FloatArray, ...]:
        """Give the sums in the order of the fields."""
        return (
            self.trace,
            self.quadratic,
            self.fixed,
            self.pull,
            self.trace_pairs,
            self.quadratic_pairs,
            self.fixed_pairs,
        )


class Solved:
    """One stack at one theta, with its variances inverted."""

    def __init__(self, stack: Stack, theta: FloatArray) -> None:
        size = stack.y.shape[1]
        variance = np.tensordot(theta, stack.components, 1) + FLOOR * np.eye(size)
        triangle = np.linalg.cholesky(variance)
        self.log_size = 2.0 * float(np.log(np.einsum("iaa->ia", triangle)).sum())
        self.stack = stack
        self.weight = np.linalg.inv(variance)
        self.weighted_fixed = self.weight @ stack.fixed
        self.weighted_y = (self.weight @ stack.y[:, :, None])[:, :, 0]
        columns = stack.fixed.reshape(-1, stack.fixed.shape[2])
        self.gram = columns.T @ self.weighted_fixed.reshape(columns.shape)
        self.moment = columns.T @ self.weighted_y.ravel()

    def squares(self, beta: FloatArray) -> float:
        """Give the weighted sum of squares about the fixed effects beta (p,)."""
        left = self.stack.y - self.stack.fixed @ beta
        return float(np.vdot(left, self.weighted_y - self.weighted_fixed @ beta))

    def moments(self, beta: FloatArray) -> Moments:
        """Give the stack's share of every sum, at fixed effects beta (p,)."""
        components = self.stack.components
        count = len(components)
        pulled = self.weighted_y - self.weighted_fixed @ beta  # u
        turned = (components @ pulled[None, :, :, None])[:, :, :, 0]  # V_k u
        shared = self.weight @ components  # W V_k
        swapped = shared.transpose(0, 1, 3, 2).reshape(count, -1)
        spread = components @ self.weighted_fixed  # V_k W X
        weighted_spread = shared @ self.weighted_fixed  # W V_k W X
        weighted_turned = (self.weight @ turned[:, :, :, None])[:, :, :, 0]
        return Moments(
            trace=components.reshape(count, -1) @ self.weight.ravel(),
            quadratic=np.einsum("kin,in->k", turned, pulled),
            fixed=_inner(self.weighted_fixed[None], spread)[0],
            pull=_inner(self.weighted_fixed[None], turned[..., None])[0, :, :, 0],
            trace_pairs=shared.reshape(count, -1) @ swapped.T,
            quadratic_pairs=turned.reshape(count, -1) @ weighted_turned.reshape(count, -1).T,
            fixed_pairs=_inner(spread, weighted_spread),
        )


def _inner(left: FloatArray, right: FloatArray) -> FloatArray:
    """Give sum over parts and readings of left[k, i, n, a] right[l, i, n, b] as (k, l, a, b)."""
    first, second = left.shape, right.shape
    flat = left.transpose(0, 3, 1, 2).reshape(first[0] * first[3], -1)
    other = right.transpose(0, 3, 1, 2).reshape(second[0] * second[3], -1)
    product = (flat @ other.T).reshape(first[0], first[3], second[0], second[3])
    return np.asarray(product.transpose(0, 2, 1, 3))
