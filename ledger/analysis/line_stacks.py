"""Readings of many parts, as columns, brought into stacks of parts with equal many readings."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ledger.analysis.reml import FloatArray, Stack
from ledger.analysis.unfit import CannotFit


@dataclass(frozen=True, slots=True)
class Group:
    """The parts that have n readings each."""

    members: NDArray[np.intp]
    """(N,) the numbers of the parts, in order of first appearance over all parts."""
    x: FloatArray
    """(N, n)"""
    y: FloatArray
    """(N, n)"""


def grouped(part: Any, x: Any, y: Any) -> tuple[tuple[Hashable, ...], list[Group]]:
    """Give the parts in order of first appearance, and their readings by how many they have.

    Raises `CannotFit` for columns of unequal length, a row without a part, and a figure that is
    not a finite number.
    """
    labels, codes = _encoded(part)
    across, up = _figures("x", x, len(codes)), _figures("y", y, len(codes))
    order = np.argsort(codes, kind="stable")
    counts = np.bincount(codes, minlength=len(labels))
    starts = np.cumsum(counts) - counts
    groups = []
    for count in np.unique(counts):
        members = np.flatnonzero(counts == count)
        rows = order[starts[members][:, None] + np.arange(count)]
        groups.append(Group(members, across[rows], up[rows]))
    return labels, groups


def _encoded(part: Any) -> tuple[tuple[Hashable, ...], NDArray[np.intp]]:
    try:
        column = pa.chunked_array([part]) if isinstance(part, pa.Array) else part
        if not isinstance(column, pa.ChunkedArray):
            column = pa.chunked_array([pa.array(part)])
        coded = column.combine_chunks().dictionary_encode()
    except (pa.ArrowException, TypeError) as problem:
        raise CannotFit("every row", "part", str(problem), "Give labels of one type") from None
    if isinstance(coded, pa.ChunkedArray):
        coded = coded.combine_chunks()
    if coded.null_count:
        row = int(np.flatnonzero(coded.is_null())[0])
        raise CannotFit(_row(row), "part", "it is missing", "Name the part that was read")
    return tuple(coded.dictionary.to_pylist()), np.asarray(coded.indices, dtype=np.intp)


def _figures(field: str, given: Any, count: int) -> FloatArray:
    try:
        figures = np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError) as problem:
        raise CannotFit("every row", field, str(problem), "Give a number in every row") from None
    if figures.shape != (count,):
        raise CannotFit(
            "every row",
            field,
            f"its shape is {figures.shape}, and there are {count} parts named",
            "Give one number for each row of part",
        )
    for row in np.flatnonzero(~np.isfinite(figures)):
        wrong = f"it is {figures[row]}"
        raise CannotFit(_row(int(row)), field, wrong, "Give a finite number, or leave out the row")
    return figures


def _row(number: int) -> str:
    return f"row {number} (counted from 0)"


def line_stack(group: Group, random: tuple[bool, bool]) -> Stack:
    """Give the stack of a line a part: what varies between parts, then the reading's scatter.

    With `random` (intercept, slope) both true the components are the variance of the intercept,
    the covariance, the variance of the slope and the identity; else the one variance and the
    identity.
    """
    design = np.stack([np.ones_like(group.x), group.x], axis=-1)
    shares = [np.einsum("ina,ab,imb->inm", design, pattern, design) for pattern in patterns(random)]
    identity = np.broadcast_to(np.eye(group.x.shape[1]), shares[0].shape)
    return Stack(group.y, design, np.stack([*shares, identity]))


def patterns(random: tuple[bool, bool]) -> list[FloatArray]:
    """Give which entries of the covariance (2, 2) of intercept and slope each component fills."""
    intercept, slope = np.diag([1.0, 0.0]), np.diag([0.0, 1.0])
    both = np.array([[0.0, 1.0], [1.0, 0.0]])
    if all(random):
        return [intercept, both, slope]
    return [intercept] if random[0] else [slope]


def is_told_apart(stacks: list[Stack]) -> bool:
    """Say whether no component is a sum of multiples of the others over all parts."""
    gram = sum(
        flat @ flat.T
        for flat in (stack.components.reshape(len(stack.components), -1) for stack in stacks)
    )
    length = np.sqrt(np.diag(gram))
    if not np.all(length > 0):
        return False
    return bool(np.linalg.eigvalsh(gram / np.outer(length, length))[0] > 1e-9)
