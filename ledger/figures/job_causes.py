"""Which tier a come-back job's unpaid work is charged to: the one whose work came back."""

from __future__ import annotations

import numpy as np

from ledger.figures.fault_arrays import NONE, Integers


def caused_by(answers: Integers, tier: Integers) -> Integers:
    """Give by job the code of the tier that caused it; NONE for none.

    `answers` (J,) is the row of the job that a come-back job answers, NONE for any other job or
    where it is not known; `tier` (J,) the code of each job's own tier, NONE for none. The first
    job up the chain that has a tier counts; where there is none (or the chain is a ring), the
    job's own tier.
    """
    found = tier.copy()
    rows = np.flatnonzero(answers != NONE)
    at = answers[rows]
    # A chain through jobs without a tier passes each of them once; longer, it is a ring.
    for _ in range(int((tier[rows] == NONE).sum()) + 1):
        is_found = tier[at] != NONE
        found[rows[is_found]] = tier[at[is_found]]
        rows, at = rows[~is_found], answers[at[~is_found]]
        rows, at = rows[at != NONE], at[at != NONE]
        if not len(rows):
            break
    return found
