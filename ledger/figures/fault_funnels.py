"""Whether the repairs of a tier, or of a mechanic, come back more often than chance has it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from ledger.analysis import funnel as analysis
from ledger.figures.fault_arrays import NONE, Coded, Integers, coded, flags, pairs
from ledger.figures.fault_estimates import LEVEL, FaultFunnel, FunnelUnit, GuidePoint
from ledger.figures.fault_following import followed_to_the_end
from ledger.figures.fault_tables import FaultTables
from ledger.figures.fault_words import TOO_FEW

__all__ = ["FOR_OWNER", "funnel"]

FOR_OWNER = "shown to the owner only"

_COUNT_GUIDE = 40
_STRATA = {
    "tier": "held apart by fault",
    "mechanic": "held apart by tier and fault",
}


def funnel(
    tables: FaultTables, by: Literal["tier", "mechanic"], *, for_owner: bool = False
) -> FaultFunnel:
    """Give how the repairs of each tier, or each mechanic, held beside those of all others.

    Tiers are compared fault by fault; repairs of jobs without a tier (come-backs, as a rule) are
    a unit of their own, of key None. Mechanics are compared within tier and fault, so that
    nobody is judged by having the jobs that come back anyhow; without `for_owner` their funnel
    has no units. A repair counts until its window or the book ends: recent ones are not held for
    good. Limits are such that a shop where nobody differs has anybody marked but once in twenty.
    """
    repairs = tables.repairs
    if by == "tier":
        return _funnel(by, tables, "tier", coded(repairs["fault"]).code)
    if not for_owner:
        return _none(by, FOR_OWNER)
    tier, fault = coded(repairs["tier"]), coded(repairs["fault"])
    return _funnel(by, tables, "actor", pairs(tier.code + 1, fault.code))


def _none(by: Literal["tier", "mechanic"], words: str) -> FaultFunnel:
    return FaultFunnel(by, _STRATA[by], (), (), 0.0, LEVEL, 2.0, 1.0, words)


def _funnel(
    by: Literal["tier", "mechanic"], tables: FaultTables, column: str, stratum: Integers
) -> FaultFunnel:
    repairs = tables.repairs
    if not len(repairs):
        return _none(by, "no repairs to judge")
    unit, (time, is_event) = coded(repairs[column]), followed_to_the_end(repairs)
    # Numbers in the order of the names, null last, come back as they went in.
    number = np.where(unit.code == NONE, len(unit.names), unit.code)
    found = analysis.funnel_of_times(
        number,
        np.floor(time),
        is_event,
        stratum=stratum,
        cluster=tables.codes.bike_of_repair,
        level=LEVEL,
    )
    immature = np.bincount(number[~flags(repairs["is_mature"])], minlength=len(unit.names) + 1)
    units = tuple(_unit(row, unit, immature) for row in found.rows)
    return FaultFunnel(
        by=by,
        strata=_STRATA[by],
        units=units,
        guide=_guide(found),
        pooled_rate=found.pooled_rate,
        level=found.level,
        ratio=found.ratio,
        inflation=found.inflation,
        words=_words(by, units),
    )


def _unit(row: analysis.FunnelRow, names: Coded, immature: Integers) -> FunnelUnit:
    number = int(str(row.unit))
    return FunnelUnit(
        key=names.names[number] if number < len(names.names) else None,
        count_repairs=row.size,
        count_come_back=row.count,
        count_immature=int(immature[number]),
        expected=row.expected,
        rate=row.rate,
        adjusted_rate=row.adjusted_rate,
        size=row.worth,
        low_count=row.low_count,
        high_count=row.high_count,
        low_rate=row.low_rate,
        high_rate=row.high_rate,
        p=row.p_shop,
        mark=row.mark,
        power=row.power,
        words=row.words,
    )


def _guide(found: analysis.Funnel) -> tuple[GuidePoint, ...]:
    """Give the curve behind the units, as wide as limits that hold for the whole shop.

    Each unit's own limits are exact and need not lie on it.
    """
    sizes = np.array([row.worth for row in found.rows])
    count = np.count_nonzero(sizes > 0)
    if not 0 < found.pooled_rate < 1 or count < 2:
        return ()
    at = np.linspace(1.0, np.sqrt(1.05 * sizes.max() + 1), _COUNT_GUIDE) ** 2
    at = at[at < sizes.sum()]
    # Two units are mirror images: what is far out for one is for the other.
    each = 1 - (1 - found.level) / (1 if count == 2 else count)
    drawn = analysis.guide(
        at / found.inflation, found.pooled_rate, level=each, of_total=sizes.sum() / found.inflation
    )
    rows = zip(at.tolist(), drawn.low_rate.tolist(), drawn.high_rate.tolist(), strict=True)
    return tuple(GuidePoint(*row) for row in rows)


def _words(by: str, units: Sequence[FunnelUnit]) -> str:
    marked = sum(one.is_marked for one in units)
    if all(one.words.startswith(TOO_FEW) for one in units):
        return TOO_FEW
    if not marked:
        return f"no {by} differs by more than chance"
    what = by if marked == 1 else f"{by}s"
    return f"{marked} {what} differ{'s' if marked == 1 else ''} by more than chance"
