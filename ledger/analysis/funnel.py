"""Whether a mechanic's or a tier's repairs come back more often than chance would have it.

Each unit is held against all the others of the same strata, exactly: were there no difference,
the events of a stratum would fall on its repairs at random. Limits are wide enough that a shop
without any difference has nobody marked but once in twenty (level 0.95), however many it has.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import bdtrik

from ledger.analysis.funnel_chances import CountArray
from ledger.analysis.funnel_clusters import inflation_of
from ledger.analysis.funnel_columns import (
    Coded,
    cells_of_counts,
    coded,
    flags_of,
    floats_of,
    followed,
    one_stratum,
    whole_of,
)
from ledger.analysis.funnel_marks import Held
from ledger.analysis.funnel_power import powers
from ledger.analysis.funnel_rows import Funnel, FunnelRow, Rule, judged
from ledger.analysis.life_bounds import (
    BadLives,
    Column,
    FloatArray,
    refuse,
    refuse_no_figure,
    same_length,
    share_between,
)

__all__ = ["Funnel", "FunnelRow", "Guide", "funnel", "funnel_of_times", "guide", "power_of_funnel"]


@dataclass(frozen=True, slots=True, eq=False)
class Guide:
    """Smooth limits by size, to draw behind the units; one entry a size."""

    size: FloatArray
    low_rate: FloatArray
    high_rate: FloatArray


def funnel(
    count: Column,
    size: Column,
    *,
    unit: Column | None = None,
    stratum: Column | None = None,
    level: float = 0.95,
    held: Held = "shop",
    inflation: float = 1.0,
    ratio: float = 2.0,
) -> Funnel:
    """Give the funnel of plain counts: `count` of `size` repairs came back, a row a unit.

    With strata give `unit` too: then a row is a unit's repairs in one stratum, and what a unit
    would have by chance is a sum of hypergeometric counts over strata. `held` "shop" marks
    nobody in a shop without differences but with chance 1 - level; "unit" says so of each unit
    alone. `inflation` widens the variance. Units are named by their row where no names are given.
    Raises `BadLives` naming rows that cannot be counts, `TooFewLives` where there are no repairs.
    """
    counts, sizes = whole_of(count, "count"), whole_of(size, "size")
    same_length(counts.astype(float), {"size": sizes.astype(float)})
    refuse(counts > sizes, "count", "it is more than size", "Give the repairs it is out of as size")
    rule = _rule(level, held, inflation, ratio)
    units = _units(unit, len(counts))
    strata = _strata(stratum, len(counts))
    cells = cells_of_counts(units, strata, counts, sizes)
    return judged(units.names, cells, _per_unit(units, counts), _per_unit(units, sizes), rule)


def funnel_of_times(
    unit: Column,
    time: Column,
    is_event: Column,
    *,
    stratum: Column | None = None,
    cluster: Column | None = None,
    level: float = 0.95,
    held: Held = "shop",
    ratio: float = 2.0,
) -> Funnel:
    """Give the funnel of repairs followed for unequal times, one row a repair.

    `time` is how long it was followed, in any one unit: until it came back (`is_event`), its
    window ran out or observation ended. Each come-back falls to a unit with the unit's share of
    those still followed then in its stratum, as in the log-rank test; come-backs of one time in
    one stratum are drawn together. With `cluster` (the bike), the variance is widened by what
    repairs of one bike at one unit have in common (`Funnel.inflation`). Rows as in `funnel`.
    Raises `BadLives` naming rows without a unit or that cannot be times, `TooFewLives` for none.
    """
    length, came_back = floats_of(time, "time"), flags_of(is_event, "is_event")
    same_length(length, {"is_event": came_back.astype(float)})
    is_length = (length >= 0) & np.isfinite(length)
    refuse(~is_length, "time", "it is no length", "Give 0 or a length")
    rule = _rule(level, held, 1.0, ratio)
    units = coded(unit, "unit", len(length), may_lack=False)
    strata = _strata(stratum, len(length))
    seen = followed(units, strata, length, came_back)
    if cluster is not None:
        clusters = coded(cluster, "cluster", len(length), may_lack=False)
        wider = inflation_of(units, strata, clusters, seen, came_back)
        rule = replace(rule, inflation=wider)
    sizes = np.bincount(units.code, minlength=len(units.names))
    counts = np.bincount(units.code[came_back], minlength=len(units.names))
    return judged(units.names, seen.cells, counts, sizes, rule)


def guide(
    size: Column, rate: float, *, level: float = 0.95, of_total: float | None = None
) -> Guide:
    """Give the rates at each size at which a unit is just marked, were sizes no whole numbers.

    Exact binomial limits of `rate`, (1 - level) / 2 to either side, made smooth by the incomplete
    beta function (Spiegelhalter, Statistics in Medicine 24, 2005, interpolates alike). With
    `of_total` repairs in all, of which the unit's are part, sizes count as size / (1 - size /
    of_total), which gives the variance of drawing without replacement.
    """
    sizes = floats_of(size, "size")
    most = np.inf if of_total is None else of_total
    refuse_no_figure(most, "of_total", "Give the number of all repairs, or None")
    refuse(~((sizes > 0) & (sizes <= most)), "size", "it is none of them", "Give a size above 0")
    share_between(level, "level")
    share_between(rate, "rate")
    left = 1 - sizes / most
    worth = sizes / np.maximum(left, 1e-9)
    low = np.nan_to_num(bdtrik((1 - level) / 2, worth, rate), nan=0.0)
    high = bdtrik((1 + level) / 2, worth, rate) + 1
    return Guide(sizes, np.clip(low / worth, 0, rate), np.clip(high / worth, rate, 1))


def power_of_funnel(
    size: int,
    rate: float,
    ratio: float = 2.0,
    *,
    others: Column,
    level: float = 0.95,
    held: Held = "shop",
    inflation: float = 1.0,
) -> float:
    """Give how likely a unit of `size` repairs is marked, were its rate `ratio` times the others'.

    `others` are the sizes of the other units, all with `rate`. An `inflation` of the variance
    counts as that many times fewer repairs.
    """
    sizes = np.append(whole_of([size], "size"), whole_of(others, "others"))
    share_between(rate, "rate")
    _rule(level, held, inflation, ratio)
    if len(sizes) < 2 or sizes[1:].sum() == 0 or size == 0:
        return 0.0
    counted = np.maximum(np.rint(sizes / inflation), 1).astype(np.int64)
    first = np.zeros(1, dtype=np.int64)
    return float(powers(counted, rate, ratio, level=level, held=held, which=first)[0])


def _rule(level: float, held: Held, inflation: float, ratio: float) -> Rule:
    share_between(level, "level")
    if held not in ("shop", "unit"):
        raise BadLives("argument", "held", f"it is {held!r}", "Give 'shop' or 'unit'")
    refuse_no_figure(inflation, "inflation", "Give 1 or more")
    refuse_no_figure(ratio, "ratio", "Give one above 0, other than 1")
    if not 1 <= inflation < np.inf:
        raise BadLives("argument", "inflation", f"it is {inflation}", "Give 1 or more")
    if not 0 < ratio < np.inf or ratio == 1:
        raise BadLives("argument", "ratio", f"it is {ratio}", "Give one above 0, other than 1")
    return Rule(level, held, inflation, ratio)


def _units(unit: Column | None, count_rows: int) -> Coded:
    if unit is not None:
        return coded(unit, "unit", count_rows, may_lack=False)
    return Coded(tuple(range(count_rows)), np.arange(count_rows))


def _strata(stratum: Column | None, count_rows: int) -> Coded:
    if stratum is None:
        return one_stratum(count_rows)
    return coded(stratum, "stratum", count_rows, may_lack=True)


def _per_unit(units: Coded, column: CountArray) -> CountArray:
    sums = np.bincount(units.code, weights=column, minlength=len(units.names))
    return np.rint(sums).astype(np.int64)
