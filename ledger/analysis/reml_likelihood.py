"""The likelihood of variance components over stacks of small parts, with two derivatives.

With W the inverse of V, P = W - W X (X'WX)^-1 X'W and u = P y (Harville 1977, JASA 72;
Johnson & Thompson 1995, J. Dairy Sci. 78, for the second derivatives), REML has

    d logL / d theta_k           = -1/2 tr(P V_k) + 1/2 u' V_k u
    d2 logL / d theta_k theta_l  = +1/2 tr(P V_k P V_l) - u' V_k P V_l u

and full maximum likelihood has W for P inside the traces.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np

from ledger.analysis.reml_blocks import FloatArray, Moments, Solved, Stack


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
        self._solved = [Solved(stack, theta) for stack in likelihood.stacks]
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
    def _moments(self) -> Moments:
        moments = [part.moments(self.beta) for part in self._solved]
        return Moments(*(sum(each) for each in zip(*(m.all() for m in moments), strict=True)))

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
