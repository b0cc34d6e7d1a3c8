"""What must hold of stacks before a mixed model is fitted to them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ledger.analysis.reml_blocks import FloatArray, Stack
from ledger.analysis.unfit import CannotFit

DEPENDENT = 1e-10
"""A fixed column whose own share of its length is below this follows from the others."""


def check_stacks(stacks: Sequence[Stack]) -> None:
    """Refuse stacks that are empty, disagree in shape or hold a figure that is not finite."""
    if not stacks or not sum(stack.y.size for stack in stacks):
        raise CannotFit("stacks", "y", "there is no reading", "Give one stack or more")
    shapes = (stacks[0].fixed.shape[-1], stacks[0].components.shape[0])
    for number, stack in enumerate(stacks):
        _check_shapes(f"stack {number}", stack, *shapes)
        _check_finite(f"stack {number}", stack)


def _check_shapes(where: str, stack: Stack, count_fixed: int, count_components: int) -> None:
    parts, size = stack.y.shape if stack.y.ndim == 2 else (-1, -1)
    wanted = {
        "y": (parts, size),
        "fixed": (parts, size, count_fixed),
        "components": (count_components, parts, size, size),
    }
    for field, shape in wanted.items():
        given = getattr(stack, field).shape
        if given != shape:
            raise CannotFit(where, field, f"its shape is {given}", f"It would be {shape}")


def _check_finite(where: str, stack: Stack) -> None:
    for field in ("y", "fixed", "components"):
        bad = np.argwhere(~np.isfinite(getattr(stack, field)))
        if len(bad):
            at = tuple(int(index) for index in bad[0])
            raise CannotFit(where, f"{field}{list(at)}", "not a finite number", "Give a number")


def check_start(
    stacks: Sequence[Stack], start: FloatArray, covariances: Sequence[tuple[int, int, int]]
) -> FloatArray:
    """Give the start as an array, and refuse one that is no set of components."""
    theta = np.asarray(start, dtype=np.float64)
    count = stacks[0].components.shape[0]
    if theta.shape != (count,) or not np.all(np.isfinite(theta)):
        raise CannotFit("start", "theta", f"it is {start}", f"Give {count} finite numbers")
    named = [index for triple in covariances for index in triple]
    if len(set(named)) != len(named) or not all(0 <= index < count for index in named):
        raise CannotFit(
            "covariances",
            "triple",
            f"they are {list(covariances)}",
            f"Name components 0 to {count - 1}, each once",
        )
    crossed = [triple[1] for triple in covariances]
    if np.any(np.delete(theta, crossed) < 0):
        raise CannotFit("start", "theta", "a variance is below zero", "Start at zero or above")
    return theta


def check_design(stacks: Sequence[Stack]) -> float:
    """Refuse a design without full column rank; give the scatter about its least-squares fit.

    The scatter is a root mean square, in units of y, and never zero.
    """
    y = np.concatenate([stack.y.ravel() for stack in stacks])
    fixed = np.concatenate([stack.fixed.reshape(-1, stack.fixed.shape[2]) for stack in stacks])
    count, columns = fixed.shape
    if count <= columns:
        raise CannotFit(
            "stacks",
            "y",
            f"{count} readings for {columns} fixed effects",
            f"Give {columns + 1} readings or more",
        )
    return _scatter(y, _orthonormal(fixed))


def _orthonormal(fixed: FloatArray) -> FloatArray:
    """Give an orthonormal base of the design; name the first column that adds nothing to it."""
    length = np.linalg.norm(fixed, axis=0)
    base, triangle = np.linalg.qr(fixed / np.where(length > 0, length, 1.0))
    own = np.abs(np.diag(triangle))
    for column in np.flatnonzero(own < DEPENDENT):
        raise CannotFit(
            "design",
            f"fixed column {column} (counted from 0)",
            "it follows from the columns before it",
            "Leave it out, or add parts that differ in it",
        )
    return np.asarray(base)


def _scatter(y: FloatArray, base: FloatArray) -> float:
    left = y - base @ (base.T @ y)
    spread = float(np.sqrt(np.mean(left**2)))
    height = float(np.sqrt(np.mean(y**2)))
    return max(spread, 1e-9 * height) or 1.0
