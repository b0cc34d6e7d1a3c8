"""The likelihood of variance components over stacks of small parts, with two derivatives.

With W the inverse of V, P = W - W X (X'WX)^-1 X'W and u = P y (Harville 1977, JASA 72;
Johnson & Thompson 1995, J. Dairy Sci. 78, for the second derivatives), REML has

    d logL / d theta_k           = -1/2 tr(P V_k) + 1/2 u' V_k u
    d2 logL / d theta_k theta_l  = +1/2 tr(P V_k P V_l) - u' V_k P V_l u

and full maximum likelihood has W for P inside the traces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

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


class Likelihood:
    """The log likelihood as a function of theta, readings taken in units of their scatter."""

    def __init__(self, stacks: Sequence[Stack], scatter: float, *, is_reml: bool) -> None:
        self.scale = scatter
        self.is_reml = is_reml
        self.stacks = [
            Stack(stack.y / scatter, stack.fixed, stack.components)
            for stack in stacks
            if stack.y.size
        ]
        self.count_fixed: int = stacks[0].fixed.shape[2]
        self.count_readings: int = sum(stack.y.size for stack in stacks)
        self.count_evaluations = 0

    @property
    def count_free(self) -> int:
        """Readings less, under REML, the fixed effects."""
        return self.count_readings - self.is_reml * self.count_fixed

    def at(self, theta: FloatArray) -> Point:
        """Evaluate at components theta (q,), in units of squared scatter."""
        self.count_evaluations += 1
        return Point(self, theta)

    def in_units_of_y(self, value: float) -> float:
        """Give a log likelihood of scaled readings as that of the readings themselves."""
        return value - self.count_free * float(np.log(self.scale))


class Point:
    """The model at one theta; derivatives are worked out when they are first asked for."""

    def __init__(self, likelihood: Likelihood, theta: FloatArray) -> None:
        self.theta = theta
        self._is_reml = likelihood.is_reml
        self._count_free = likelihood.count_free
        self._solved = [_Solved(stack, theta) for stack in likelihood.stacks]
        self._solve_fixed()

    def _solve_fixed(self) -> None:
        """Find beta by generalised least squares, columns scaled to unit length."""
        gram = sum((part.gram for part in self._solved), np.zeros(()))
        length = np.sqrt(np.diag(gram))
        inner = np.linalg.inv(gram / np.outer(length, length))
        self.beta_covariance: FloatArray = inner / np.outer(length, length)
        self.beta: FloatArray = self.beta_covariance @ sum(part.moment for part in self._solved)
        self._log_gram = float(
            np.linalg.slogdet(gram / np.outer(length, length))[1] + 2 * np.log(length).sum()
        )

    @cached_property
    def squares(self) -> float:
        """The weighted sum of squares about the fixed effects: free readings when well scaled."""
        return float(sum(part.squares(self.beta) for part in self._solved))

    @cached_property
    def value(self) -> float:
        """The log likelihood of the scaled readings, with every constant."""
        log_size = sum(part.log_size for part in self._solved) + self._is_reml * self._log_gram
        constant = self._count_free * np.log(2 * np.pi)
        return -0.5 * float(constant + log_size + self.squares)

    @cached_property
    def _moments(self) -> _Moments:
        moments = [part.moments(self.beta) for part in self._solved]
        return _Moments(*(sum(each) for each in zip(*(m.all() for m in moments), strict=True)))

    @cached_property
    def gradient(self) -> FloatArray:
        """(q,) first derivatives in theta."""
        moments = self._moments
        trace = moments.trace
        if self._is_reml:
            trace = trace - np.einsum("rs,ksr->k", self.beta_covariance, moments.fixed)
        return np.asarray(0.5 * (moments.quadratic - trace))

    @cached_property
    def hessian(self) -> FloatArray:
        """(q, q) second derivatives in theta."""
        moments = self._moments
        trace = moments.trace_pairs
        if self._is_reml:
            share = self.beta_covariance @ moments.fixed
            trace = trace - 2 * np.einsum("rs,klsr->kl", self.beta_covariance, moments.fixed_pairs)
            trace = trace + np.einsum("krs,lsr->kl", share, share)
        lost = moments.pull @ self.beta_covariance @ moments.pull.T
        return np.asarray(0.5 * trace - (moments.quadratic_pairs - lost))

    @cached_property
    def beta_gradient(self) -> FloatArray:
        """(q, p) how beta changes with theta: -(X'WX)^-1 X'W V_k u."""
        return np.asarray(-self._moments.pull @ self.beta_covariance)


@dataclass(frozen=True, slots=True)
class _Moments:
    """Sums over parts; `fixed` is X'W V_k W X, `pull` X'W V_k u, pairs as in the Hessian."""

    trace: FloatArray  # (q,) tr(W V_k)
    quadratic: FloatArray  # (q,) u' V_k u
    fixed: FloatArray  # (q, p, p)
    pull: FloatArray  # (q, p)
    trace_pairs: FloatArray  # (q, q) tr(W V_k W V_l)
    quadratic_pairs: FloatArray  # (q, q) u' V_k W V_l u
    fixed_pairs: FloatArray  # (q, q, p, p) X'W V_k W V_l W X

    def all(self) -> tuple[FloatArray, ...]:
        return (
            self.trace,
            self.quadratic,
            self.fixed,
            self.pull,
            self.trace_pairs,
            self.quadratic_pairs,
            self.fixed_pairs,
        )


class _Solved:
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
        left = self.stack.y - self.stack.fixed @ beta
        return float(np.vdot(left, self.weighted_y - self.weighted_fixed @ beta))

    def moments(self, beta: FloatArray) -> _Moments:
        components = self.stack.components
        count = len(components)
        pulled = self.weighted_y - self.weighted_fixed @ beta  # u
        turned = (components @ pulled[None, :, :, None])[:, :, :, 0]  # V_k u
        shared = self.weight @ components  # W V_k
        swapped = shared.transpose(0, 1, 3, 2).reshape(count, -1)
        spread = components @ self.weighted_fixed  # V_k W X
        weighted_spread = shared @ self.weighted_fixed  # W V_k W X
        weighted_turned = (self.weight @ turned[:, :, :, None])[:, :, :, 0]
        return _Moments(
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
