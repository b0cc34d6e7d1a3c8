"""The fixed effects that readings share: where parts start, how they wear, how gauges are off."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ledger.analysis.wear_data import Family, Flags, Floats, Ints

GROUP = 8
"""A model or a kind of riding with fewer series shares the others' start and slope."""
GAIN_READINGS = 40


def groups(code: Ints, count_levels: int, is_counted: Flags) -> Ints:
    """Give a group (S,) a level with enough series has to itself; 0 holds all the others."""
    counts = np.bincount(code[is_counted & (code >= 0)], minlength=count_levels)
    own = np.cumsum(counts >= GROUP) * (counts >= GROUP)
    return np.where(code >= 0, np.append(own, 0)[code], 0)


def model_groups(family: Family) -> Ints:
    """Give the group (S,) a model shares; one for all where every start is known beforehand."""
    if not np.isnan(family.known_start[family.is_new]).any():
        return np.zeros(len(family.series), dtype=np.int64)
    return groups(family.factors["model"], len(family.levels["model"]), family.is_new)


def start_groups(family: Family) -> Ints:
    """Give the group (S,) a start is shared in: by model, those known beforehand by themselves."""
    group, is_known = model_groups(family), ~np.isnan(family.known_start)
    is_mixed = len(set(is_known[family.is_new].tolist())) > 1
    return np.where(is_known, group.max(initial=0) + 1, group) if is_mixed else group


def known_groups(family: Family) -> Flags:
    """Say of each group of starts whether they are known beforehand."""
    group = start_groups(family)
    unknown = np.bincount(group, np.isnan(family.known_start) & family.is_new)
    return np.asarray(unknown == 0)


@dataclass(frozen=True, slots=True)
class Design:
    """The fixed effects' columns: (M, p), and what each stands for."""

    columns: Floats
    names: list[tuple[str, int]]
    is_own: Flags
    """Whether each column is told apart from those before it by the used readings."""


def design_of(family: Family, rate: Floats, is_used: Flags) -> Design:
    """Give the columns of starts, slopes, gauges and gains; `rate` (S,) is a rough one.

    The gauge that was read most comes last, and has no gain: what all gauges show is what wear is.
    """
    of, size = family.series_of, len(family.x)
    start, model = start_groups(family), model_groups(family)
    slope = groups(
        family.factors["riding"], len(family.levels["riding"]), np.ones_like(family.is_new)
    )
    made: list[tuple[tuple[str, int], Floats]] = []
    for group in range(int(start.max(initial=0)) + 1):
        is_here = (start == group) & family.is_new
        made.append((("start", group), is_here[of].astype(np.float64)))
    made.append((("found", 0), (~family.is_new)[of].astype(np.float64)))
    for group in range(int(slope.max(initial=0)) + 1):
        made.append((("slope", group), np.where((slope == group)[of], family.x, 0.0)))
    # Else a model that wears faster would be taken for one that starts more worn.
    for group in range(1, int(model.max(initial=0)) + 1):
        made.append((("model slope", group), np.where((model == group)[of], family.x, 0.0)))
    counts = np.bincount(family.gauge[is_used], minlength=len(family.gauges))
    read = np.bincount(family.gauge[is_used], family.x[is_used], minlength=len(family.gauges))
    reference = int(np.lexsort((read, counts))[-1])
    others = [int(gauge) for gauge in np.flatnonzero(counts) if gauge != reference]
    for gauge in others:
        made.append((("bias", gauge), (family.gauge == gauge).astype(np.float64)))
    for gauge in others:
        if counts[gauge] >= GAIN_READINGS:
            shown = np.where(family.gauge == gauge, family.x * rate[of], 0.0)
            made.append((("gain", gauge), shown))
    made.append((("bias", reference), (family.gauge == reference).astype(np.float64)))
    return _independent(made, is_used, size)


def _independent(made: list[tuple[tuple[str, int], Floats]], is_used: Flags, size: int) -> Design:
    """Give the columns, and which of them those before do not already make up."""
    whole = np.zeros((size, len(made)))
    is_own = np.zeros(len(made), dtype=bool)
    basis = np.empty((int(is_used.sum()), 0))
    for place, (_, values) in enumerate(made):
        rest = whole[is_used, place] = values[is_used]
        length = np.linalg.norm(rest)
        for _ in range(2):
            rest = rest - basis @ (basis.T @ rest)
        if length == 0 or np.linalg.norm(rest) < 1e-6 * length:
            continue
        is_own[place] = True
        basis = np.column_stack([basis, rest / np.linalg.norm(rest)])
    return Design(whole, [name for name, _ in made], is_own)
