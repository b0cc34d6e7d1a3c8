"""Quotients of whole numbers rounded to a whole number, exactly, for whole columns at once."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from ledger.analysis.unfit import CannotFit

IntArray = NDArray[np.int64]
Rounding = Literal["half even", "half up"]
ROUNDINGS: tuple[Rounding, ...] = ("half even", "half up")
"""Banker's: a half goes to the even neighbour. Commercial: a half goes away from 0."""


def rounded_quotient(numerator: Any, denominator: Any, rounding: Rounding | Any) -> IntArray:
    """Give numerator / denominator rounded to whole numbers (int64), no float between.

    All three broadcast. `rounding` is one of ROUNDINGS, or flags: True where a half goes to the
    even neighbour. Raises `CannotFit` for another word, or a denominator that is not above 0.
    """
    over, under = np.asarray(numerator, dtype=np.int64), np.asarray(denominator, dtype=np.int64)
    if not (under > 0).all():
        raise CannotFit("column", "denominator", "some of it is not above 0", "Give 1 or more")
    whole, left = np.divmod(np.abs(over), under)
    is_over_half = 2 * left > under
    is_half = 2 * left == under
    is_up = is_over_half | (is_half & (~_is_even(rounding) | (whole % 2 == 1)))
    return np.asarray(np.sign(over) * (whole + is_up), dtype=np.int64)


def _is_even(rounding: Any) -> NDArray[np.bool_]:
    if not isinstance(rounding, str):
        return np.asarray(rounding, dtype=np.bool_)
    if rounding not in ROUNDINGS:
        right = f"Give one of {', '.join(ROUNDINGS)}"
        raise CannotFit("argument", "rounding", f"{rounding!r} is not known", right)
    return np.asarray(rounding == "half even")
