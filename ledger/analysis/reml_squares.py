"""Variance components as squares, so that a search without bounds can end at zero.

Every component is a quadratic form of the root: theta_k = root' Q_k root. A lone component is
the square of its own root; two variances with a covariance are the product of a lower
triangle with its transpose, which is positive semidefinite whatever the root is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ledger.analysis.reml_blocks import FloatArray, Stack


@dataclass(frozen=True, slots=True)
class Squares:
    """The quadratic forms (q, q, q) from roots to components, each root near 1 in size."""

    forms: FloatArray
    scales: FloatArray
    """(q,) a component of this size gives readings a variance of about 1."""
    covariances: tuple[tuple[int, int, int], ...]
    is_absent: tuple[bool, ...]
    """Which components are zero for every part: their roots stay at zero."""

    def theta(self, root: FloatArray) -> FloatArray:
        """Give the components (q,) of a root (q,)."""
        return np.asarray(np.einsum("kab,a,b->k", self.forms, root, root))

    def slopes(self, root: FloatArray) -> FloatArray:
        """Give d theta_k / d root_a as (q, q)."""
        return np.asarray(2.0 * self.forms @ root)

    def bend(self, weights: FloatArray) -> FloatArray:
        """Give sum_k weights_k times the second derivatives of theta_k, (q, q)."""
        return np.asarray(2.0 * np.tensordot(weights, self.forms, 1))

    def bent(self, root: FloatArray, gradient: FloatArray, hessian: FloatArray) -> FloatArray:
        """Give minus the second derivatives in the root of a function of theta, (q, q)."""
        slopes = self.slopes(root)
        return np.asarray(-slopes.T @ hessian @ slopes - self.bend(gradient))

    def root(self, theta: FloatArray) -> FloatArray:
        """Give a root of components, lifted off zero, where the likelihood has no slope."""
        root = np.sqrt(np.maximum(theta, 0.0) / self.scales)
        for first, cross, second in self.covariances:
            scale = np.sqrt(self.scales[first] * self.scales[second])
            root[cross] = theta[cross] / scale / root[first] if root[first] > 0 else 0.0
            root[second] = np.sqrt(max(0.0, root[second] ** 2 - root[cross] ** 2))
        return self.lifted(root)

    def level(self) -> FloatArray:
        """Give the root (q,) at which every component makes readings vary alike."""
        return self.lifted(np.zeros(len(self.scales)), 1.0)

    def lifted(self, root: FloatArray, least: float = 0.1) -> FloatArray:
        """Give the root with every standard deviation at `least` of the largest or above."""
        crossed = [triple[1] for triple in self.covariances]
        top = float(np.max(np.abs(root), initial=0.0)) or 1.0
        lifted = np.maximum(np.abs(root), least * top)
        lifted[crossed] = root[crossed]
        return np.where(self.is_absent, 0.0, lifted)


def squares_of(stacks: Sequence[Stack], covariances: Sequence[tuple[int, int, int]]) -> Squares:
    """Give the forms for these components, each scaled by its mean share of the diagonal."""
    diagonal = _mean_diagonal(stacks)
    is_absent = [
        not any(stack.components[k].any() for stack in stacks) for k in range(len(diagonal))
    ]
    scales = 1.0 / np.where(diagonal > 0, diagonal, 1.0)
    forms = np.zeros((len(scales),) * 3)
    for index, scale in enumerate(scales):
        forms[index, index, index] = scale
    for first, cross, second in covariances:
        is_absent[cross] = is_absent[first] or is_absent[second]
        _join(forms, scales, first, cross, second)
    return Squares(forms, scales, tuple(covariances), tuple(is_absent))


def _join(forms: FloatArray, scales: FloatArray, first: int, cross: int, second: int) -> None:
    """Make two variances and their covariance the product of a triangle with its transpose."""
    forms[cross] = 0.0
    half = 0.5 * np.sqrt(scales[first] * scales[second])
    forms[cross, first, cross] = forms[cross, cross, first] = half
    forms[second, cross, cross] = scales[second]


def _mean_diagonal(stacks: Sequence[Stack]) -> FloatArray:
    total = sum(np.einsum("kiaa->k", stack.components) for stack in stacks)
    return np.asarray(total / sum(stack.y.size for stack in stacks))
