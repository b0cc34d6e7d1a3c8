"""A first guess from a few of very many parts, so that few steps are left to take over all."""

from __future__ import annotations

from collections.abc import Sequence

from ledger.analysis.reml_blocks import FloatArray, Stack
from ledger.analysis.reml_checks import check_design
from ledger.analysis.reml_likelihood import Likelihood
from ledger.analysis.reml_search import best_root
from ledger.analysis.reml_squares import Squares
from ledger.analysis.unfit import CannotFit

MANY_PARTS = 20_000
FEW_PARTS = 4_000


def first_guess(
    stacks: Sequence[Stack], squares: Squares, start: FloatArray, *, is_reml: bool
) -> FloatArray:
    """Give the root (q,) that fits every so manieth part best, or the start where parts are few.

    Roots that end near zero are lifted off it: over all parts they may not. A guess only saves
    steps, so where the few parts leave a fixed effect open the start serves.
    """
    count = sum(len(stack.y) for stack in stacks)
    if count <= MANY_PARTS:
        return start
    few = _thinned(stacks, count // FEW_PARTS)
    try:
        scatter = check_design(few)
    except CannotFit:
        return start
    found = best_root(Likelihood(few, scatter, is_reml=is_reml), squares, start)
    return squares.lifted(found.root, least=0.02)


def _thinned(stacks: Sequence[Stack], every: int) -> list[Stack]:
    return [
        Stack(stack.y[::every], stack.fixed[::every], stack.components[:, ::every])
        for stack in stacks
    ]
