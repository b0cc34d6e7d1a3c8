"""How the analysis says that figures cannot be fitted, and what would be right."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ledger.errors import LedgerError


class CannotFit(LedgerError):
    """Figures that no model can be fitted to: where they stand, what is wrong, what is right."""

    def __init__(self, where: str, field: str, wrong: str, right: str) -> None:
        self.where = where
        self.field = field
        self.wrong = wrong
        self.right = right
        super().__init__(f"{where}: {field}: {wrong}. {right}")


def refuse_rows(of: str, field: str, figures: ArrayLike, is_right: ArrayLike, right: str) -> None:
    """Raise `CannotFit` naming the first row, counted from 0, that is not right: "stretch 3"."""
    wrong = np.flatnonzero(~np.asarray(is_right, dtype=bool))
    if len(wrong):
        row = int(wrong[0])
        raise CannotFit(f"{of} {row}", field, f"is {np.asarray(figures)[row]:g}", right)


def refuse_share(where: str, field: str, share: float) -> None:
    """Raise `CannotFit` for a share that is not above 0 and below 1."""
    if not 0 < share < 1:
        raise CannotFit(where, field, f"it is {share}", "Give a share between 0 and 1")
