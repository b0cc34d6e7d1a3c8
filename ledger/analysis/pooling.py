"""A line for every part, each drawn to what all parts have in common: partial pooling.

The readings of part i are intercept_i + slope_i x + scatter; the intercepts and slopes of parts
are Normal about common ones. A linear mixed model (Laird & Ware 1982, Biometrics 38), for parts
with as few as one reading. Every part's cost grows with the cube of its count of readings.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from ledger.analysis.lines import Band, Crossing, Line
from ledger.analysis.pooling_stacks import Group, grouped, is_told_apart, line_stack, patterns
from ledger.analysis.reml import Fit, FloatArray, Stack, Target, conditional, fit
from ledger.analysis.unfit import CannotFit

Random = Literal["intercept and slope", "slope", "intercept"]
RANDOM: Mapping[str, tuple[bool, bool]] = {
    "intercept and slope": (True, True),
    "slope": (False, True),
    "intercept": (True, False),
}


@dataclass(frozen=True, slots=True)
class PooledLines:
    """The common line, how parts differ from it, and the line of each of N parts."""

    intercept: float
    """In units of y, where x is zero."""
    slope: float
    """In units of y over those of x."""
    standard_errors: FloatArray
    """(2,) of the common intercept and slope."""
    fixed_covariance: FloatArray
    """(2, 2) of the common intercept and slope."""
    random_covariance: FloatArray
    """(2, 2) of intercept and slope between parts; zero where they do not vary."""
    residual_variance: float
    """Of a reading about its part's line, in squared units of y."""
    log_likelihood: float
    parts: tuple[Hashable, ...]
    """The labels, in order of first appearance."""
    effects: FloatArray
    """(N, 2) what each part's intercept and slope add to the common ones."""
    effect_covariances: FloatArray
    """(N, 2, 2) of the effects, estimate minus truth, the variances taken as known."""
    line_covariances: FloatArray
    """(N, 2, 2) of each part's intercept and slope, estimate minus truth, with the uncertainty
    of the common line and, to first order, of the variances."""
    is_converged: bool
    _numbers: Mapping[Hashable, int] = field(repr=False, compare=False)

    def line_of(self, part: Hashable) -> Line:
        """Give the line of a part, or that of a part not yet read where `part` is None."""
        common = np.array([self.intercept, self.slope])
        if part is None:
            return self._line(common, self.random_covariance + self.fixed_covariance)
        if part not in self._numbers:
            raise CannotFit(
                f"part {part}", "part", "it was not among the readings", "None means a new part"
            )
        number = self._numbers[part]
        return self._line(common + self.effects[number], self.line_covariances[number])

    def _line(self, ends: FloatArray, covariance: FloatArray) -> Line:
        return Line(float(ends[0]), float(ends[1]), covariance, self.residual_variance)

    def forecast(
        self, part: Hashable, x: Any, level: float = 0.8, *, is_reading: bool = False
    ) -> Band:
        """Give a part's line at x, or with `is_reading` its next reading, with an interval."""
        return self.line_of(part).forecast(x, level, is_reading=is_reading)

    def crossing(self, part: Hashable, threshold: float, level: float = 0.8) -> Crossing:
        """Give the x at which a part's line reaches a threshold, with an interval, never NaN."""
        return self.line_of(part).crossing(threshold, level)


def pooled_lines(
    part: Any, x: Any, y: Any, *, random: Random = "intercept and slope", is_reml: bool = True
) -> PooledLines:
    """Fit a line for every part from columns of equal length: arrays, lists or Arrow columns.

    `random` says what varies between parts; `is_reml` chooses restricted over full maximum
    likelihood. Raises `CannotFit` for columns that disagree, a missing or infinite figure,
    fewer than two parts, all x equal, and readings too few a part to tell what differs between
    parts from what differs between readings.
    """
    if random not in RANDOM:
        raise CannotFit("pooled_lines", "random", f"it is {random}", f"One of {list(RANDOM)}")
    labels, groups = grouped(part, x, y)
    if len(labels) < 2:
        raise CannotFit("every row", "part", f"{len(labels)} part", "Give readings of two or more")
    middle, unit = _place(groups, is_moved=RANDOM[random][0])
    groups = [Group(each.members, (each.x - middle) / unit, each.y) for each in groups]
    stacks = [line_stack(each, RANDOM[random]) for each in groups]
    _check(stacks, unit)
    fitted = _fitted(stacks, RANDOM[random], is_reml)
    back = np.array([[1.0, -middle / unit], [0.0, 1.0 / unit]])
    return _in_units(fitted, labels, groups, stacks, RANDOM[random], back, is_reml)


def _place(groups: list[Group], *, is_moved: bool) -> tuple[float, float]:
    """Give the middle and spread of x, so that the fit does not depend on where x is zero.

    A slope that varies alone pins every line at zero, so there x stays where it is.
    """
    across = np.concatenate([each.x.ravel() for each in groups])
    middle = float(across.mean()) if is_moved else 0.0
    return middle, float(np.sqrt(np.mean((across - middle) ** 2)))


def _check(stacks: list[Stack], unit: float) -> None:
    if unit == 0:
        raise CannotFit("every row", "x", "all are equal", "Give readings at two x or more")
    if not is_told_apart(stacks):
        raise CannotFit(
            "every row",
            "part",
            "what differs between parts cannot be told from what differs between readings",
            "Give more parts with two readings or more at different x, or let less vary",
        )


def _fitted(stacks: list[Stack], random: tuple[bool, bool], is_reml: bool) -> Fit:
    if all(random):
        start = np.array([1.0, 0.0, 1.0, 1.0])
        return fit(stacks, start, is_reml=is_reml, covariances=[(0, 1, 2)])
    return fit(stacks, np.ones(2), is_reml=is_reml)


def _in_units(
    fitted: Fit,
    labels: tuple[Hashable, ...],
    groups: list[Group],
    stacks: list[Stack],
    random: tuple[bool, bool],
    back: FloatArray,
    is_reml: bool,
) -> PooledLines:
    """Bring the fit back to the x it was asked for: `back` turns a line over scaled x to x."""
    effects = np.zeros((len(labels), 2))
    known, whole = np.zeros((len(labels), 2, 2)), np.zeros((len(labels), 2, 2))
    for group, stack in zip(groups, stacks, strict=True):
        own, common = (_target(stack, random, share) for share in (0.0, 1.0))
        effects[group.members], known[group.members] = conditional(
            stack, own, fitted, is_theta_known=True
        )
        whole[group.members] = conditional(stack, common, fitted)[1]
    fixed = back @ fitted.beta_covariance @ back.T
    between = sum(t * each for t, each in zip(fitted.theta, patterns(random), strict=False))
    intercept, slope = back @ fitted.beta
    return PooledLines(
        intercept=float(intercept),
        slope=float(slope),
        standard_errors=np.sqrt(np.diag(fixed)),
        fixed_covariance=fixed,
        random_covariance=back @ between @ back.T,
        residual_variance=float(fitted.theta[-1]),
        log_likelihood=fitted.log_likelihood + is_reml * float(np.log(back[1, 1])),
        parts=labels,
        effects=effects @ back.T,
        effect_covariances=back @ known @ back.T,
        line_covariances=back @ whole @ back.T,
        is_converged=fitted.is_converged,
        _numbers={label: number for number, label in enumerate(labels)},
    )


def _target(stack: Stack, random: tuple[bool, bool], share: float) -> Target:
    """Give intercept and slope of each part: with share 1 its line, with 0 what it adds."""
    filled = patterns(random)
    nothing = np.zeros((len(stack.y), 2, stack.y.shape[1]))
    cross = [pattern @ stack.fixed.transpose(0, 2, 1) for pattern in filled]
    prior = [np.broadcast_to(pattern, (len(stack.y), 2, 2)) for pattern in filled]
    return Target(
        fixed=np.broadcast_to(share * np.eye(2), (len(stack.y), 2, 2)),
        cross=np.stack([*cross, nothing]),
        prior=np.stack([*prior, np.zeros((len(stack.y), 2, 2))]),
    )
